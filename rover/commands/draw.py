"""`rover draw`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.output import writing
from rover.files import load, shipped, yaml_source
from rover.report.behaviour_graph import write_behaviour
from rover.report.mermaid import mermaid
from rover.session.assembly import assemble, check_behaviour


@click.command()
@click.argument("file", type=options.A_PATH)
@click.option("--as", "form", type=click.Choice(["svg", "mermaid"]), default="svg", show_default=True, help="The form.")
@click.option("--into", type=options.A_PATH, metavar="FILE", help="File to write; by default FILE's name here, as SVG.")
@options.DRIVERS_UNOPENED
def command(file: Path, form: str, into: Path | None) -> int:
    """Draw the graph of a behaviour FILE with its parts, or of the one that an errand FILE names.

    A behaviour that comes with rover may be named by its name alone.
    """
    if not file.exists():
        file = shipped.shipped().get(str(file), file)
    source = yaml_source.read(file, load.show(file))
    if load.kind_of(source) == "errand":
        graph = assemble(file, {}).graph
    else:
        graph, _ = check_behaviour(load.load(file, "behaviour"))
    if form == "mermaid" and into is None:
        click.echo(mermaid(graph), nl=False)
        return 0
    target = into or Path(f"{file.stem}.svg")
    with writing():
        if form == "mermaid":
            target.write_text(mermaid(graph), "utf-8")
        else:
            write_behaviour(graph, target)
    click.echo(f"picture: {target}")
    return 0

"""`rover schema`."""

import json
from pathlib import Path

import click

from rover.commands import options
from rover.commands.output import writing
from rover.files.load import KINDS
from rover.files.schema import schema_of, schema_of_any


@click.command()
@click.argument("folder", metavar="[DIR]", type=options.PathType(file_okay=False), default=Path("schema"))
def command(folder: Path) -> int:
    """Write into DIR, schema if none is named, what an editor needs to complete and check the files: JSON Schema.

    any.schema.json goes for all of them; the others, such as robot.schema.json, for one kind each.
    """
    schemas = {"any": schema_of_any(), **{kind: schema_of(kind) for kind in KINDS}}
    with writing():
        folder.mkdir(parents=True, exist_ok=True)
        for name, schema in schemas.items():
            (folder / f"{name}.schema.json").write_text(f"{json.dumps(schema, indent=1)}\n", "utf-8")
    click.echo(f"written into {folder}: {', '.join(f'{name}.schema.json' for name in schemas)}")
    click.echo(f"in your editor's settings, map *.yaml to {folder / 'any.schema.json'}")
    return 0

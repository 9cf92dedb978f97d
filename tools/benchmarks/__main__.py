"""All benchmarks, one after the other: ``python tools/benchmarks``."""

import decide
import rehearsal
import startup

for title, run in (("decide", decide.main), ("rehearsal", rehearsal.main), ("startup", startup.main)):
    print(f"== {title}")
    run()

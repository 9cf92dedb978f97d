"""The serial link as the direct bench has it."""

from rover.bench.draws import Episodes, drawn, stream
from rover.files.bench_effects import LinkErrors


class Line:
    """The serial link: reports are a little late, and in a stall they wait and come together."""

    def __init__(self, errors: LinkErrors, seed: int) -> None:
        self._latency_ns = round(drawn(errors.latency, stream(seed, "link latency")) * 1e9)
        self._stalls = Episodes(errors.stall_every, errors.stall_lasts, stream(seed, "link stalls"))

    def arrival_ns(self, now_ns: int) -> int:
        """Return when what is sent at ``now_ns`` arrives; times asked for must not go back."""
        sent_ns = self._stalls.ends_ns if self._stalls.on(now_ns) else now_ns
        return sent_ns + self._latency_ns

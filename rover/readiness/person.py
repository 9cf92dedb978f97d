"""The person beside the robot, asked on standard input while the robot is looked after."""

import os
import select
from collections.abc import Callable, Sequence

from rover.errors import UserError
from rover.quantities import Dimension, parse_as


class NobodyAnswersError(UserError):
    """The input has ended while an answer was due."""


class Person:
    """Asks questions and takes lines as answers.

    While an answer is awaited ``meanwhile`` is called again and again; it may wait a little, and should. Without one
    nothing else is done. Every question raises `NobodyAnswersError` where the input has ended.

    Args:
        descriptor: to read from.
        say: writes a text as it is.
        instead: what to do where nobody is there to answer.
    """

    def __init__(self, descriptor: int, say: Callable[[str], None], instead: str) -> None:
        self._descriptor, self._say, self._instead = descriptor, say, instead
        self._typed = b""

    def tell(self, line: str) -> None:
        """Write a line."""
        self._say(f"{line}\n")

    def ask(self, question: str, meanwhile: Callable[[], object] | None = None) -> str:
        """Return the line that is typed, without the spaces around it."""
        self._say(f"{question} ")
        while b"\n" not in self._typed:
            if meanwhile is not None:
                meanwhile()
            if select.select([self._descriptor], [], [], None if meanwhile is None else 0.0)[0]:
                self._take(question)
        line, _, self._typed = self._typed.partition(b"\n")
        return line.decode(errors="replace").strip()

    def choose(self, question: str, choices: Sequence[str], meanwhile: Callable[[], object] | None = None) -> str:
        """Return one of the choices; its first letters will do."""
        while True:
            answer = self.ask(f"{question} [{'/'.join(choices)}]", meanwhile).lower()
            found = [choice for choice in choices if answer and choice.startswith(answer)]
            if len(found) == 1:
                return found[0]

    def quantity(
        self,
        question: str,
        dimension: Dimension,
        check: Callable[[float], object] = float,
        meanwhile: Callable[[], object] | None = None,
    ) -> float | None:
        """Return a quantity (SI), asked for until ``check`` raises no `UserError`; None where only Enter is typed."""
        while answer := self.ask(question, meanwhile):
            try:
                value = parse_as(answer, dimension)
                check(value)
            except UserError as error:
                self.tell(str(error))
            else:
                return value
        return None

    def _take(self, question: str) -> None:
        more = os.read(self._descriptor, 1024)
        if not more:
            raise NobodyAnswersError(f"nobody answers '{question}'; {self._instead}")
        self._typed += more

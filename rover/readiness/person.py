"""The person who answers the questions, on standard input, while the robot is looked after."""

import os
import select
from collections.abc import Callable, Sequence


class NobodyAnswersError(Exception):
    """Standard input has ended while an answer was due."""


class Person:
    """Asks questions and takes lines as answers.

    Args:
        descriptor: to read from.
        say: writes a text for the person.
    """

    def __init__(self, descriptor: int, say: Callable[[str], None]) -> None:
        self.say = say
        self._descriptor = descriptor
        self._typed = b""

    def ask(self, question: str, meanwhile: Callable[[], object]) -> str:
        """Return the answer, lower case; ``meanwhile`` is called again and again until it comes.

        Raises:
            NobodyAnswersError: the input has ended.
        """
        self.say(question)
        while b"\n" not in self._typed:
            meanwhile()
            if select.select([self._descriptor], [], [], 0.0)[0]:
                self._take(question)
        line, _, self._typed = self._typed.partition(b"\n")
        return line.decode(errors="replace").strip().lower()

    def choose(self, question: str, choices: Sequence[str], meanwhile: Callable[[], object]) -> str:
        """Return one of the choices; its first letter will do.

        Raises:
            NobodyAnswersError: the input has ended.
        """
        while True:
            answer = self.ask(f"{question} [{'/'.join(choices)}] ", meanwhile)
            found = [choice for choice in choices if answer and choice.startswith(answer)]
            if len(found) == 1:
                return found[0]

    def _take(self, question: str) -> None:
        more = os.read(self._descriptor, 1024)
        if not more:
            raise NobodyAnswersError(
                f"nobody answers '{question.strip()}'; answer on standard input, or say --yes-to-all once the wheels "
                "are off the ground"
            )
        self._typed += more

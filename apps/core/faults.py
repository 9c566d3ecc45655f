"""What does not hold together when the whole book is looked through."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """`kind` for tests, `where` names the row, `sentence` says what is wrong with it."""

    kind: str
    where: str
    sentence: str

    def __str__(self) -> str:
        return f"{self.where}: {self.sentence}"

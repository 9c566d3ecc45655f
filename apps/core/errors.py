"""What the house says when it cannot do what was asked."""


class Refusal(Exception):
    """A rule of the lab said no: a sentence for the person, a `code` for tests and programs.

    `field` names the form field the sentence belongs beside, when there is one.
    """

    code = "refused"

    def __init__(self, sentence: str, *, code: str | None = None, field: str | None = None) -> None:
        super().__init__(sentence)
        self.code = code or self.code
        self.field = field


class RequestIsLocked(Refusal):
    """The report is issued; what it rests on stays as it is until an amendment opens it."""

    code = "request_locked"


class StalePage(Refusal):
    """The page showed something that has moved on meanwhile."""

    code = "stale_page"


class KeyReused(Refusal):
    """The key of an act came again with something else in it."""

    code = "key_reused"

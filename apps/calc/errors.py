"""What the room says when it cannot calculate."""


class CalcError(ValueError):
    """A sentence for the person (`str(error)`, `error.sentence`) and a `code` for tests and programs."""

    code = "cannot_calculate"

    def __init__(self, sentence: str, *, code: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.code = code or self.code


class LengthError(CalcError):
    """What was typed is no length in that unit."""

    code = "not_a_length"


class PercentError(LengthError):
    """What was typed is no reading of a shrinkage scale."""

    code = "not_a_percent"


class RoundingError(CalcError):
    """The value, the step or the tie rule cannot be rounded with."""

    code = "cannot_round"


class ChangeError(CalcError):
    """No dimensional change can be made of these lengths."""

    code = "no_change"


class LayoutError(CalcError):
    """The sample, the cuts or the margins describe no cutting plan."""

    code = "no_layout"


class LoadError(CalcError):
    """No wash load can be made up of these masses."""

    code = "no_load"


class VerdictError(CalcError):
    """The limits and the decision rule allow no verdict."""

    code = "no_verdict"


class UncertaintyError(CalcError):
    """These readings carry no uncertainty statement."""

    code = "no_uncertainty"


class SpreadError(CalcError):
    """These values cannot be tested for an outlier."""

    code = "no_spread"


class SamplingError(CalcError):
    """No number of specimens follows from these figures."""

    code = "no_sample_size"


class ControlError(CalcError):
    """No control limits follow from these values."""

    code = "no_limits"


class SkewError(CalcError):
    """No skew can be made of these diagonals."""

    code = "no_skew"


class NumberingError(CalcError):
    """The text cannot carry a check character."""

    code = "not_a_code"


class ScheduleError(CalcError):
    """No finish follows from these times."""

    code = "no_schedule"


class ProgressError(CalcError):
    """No final value can be told from these changes."""

    code = "no_final_value"


class ConditioningError(CalcError):
    """These records do not say since when the cloth is conditioned."""

    code = "no_conditioning"


class RepeatabilityError(CalcError):
    """No repeatability follows from these measurements."""

    code = "no_repeatability"

"""The numbers of the trade: pure, exact, without Django, clock, files or network.

Measured values go in and come out as Decimal (millimetres, grams, percent); alpha, confidence and
probabilities are float. Every call works in a decimal context of its own, so the caller's precision,
rounding and traps change nothing, and answers what it cannot calculate with a `CalcError`.
"""

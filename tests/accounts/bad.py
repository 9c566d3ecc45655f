"""What people and machines send that no form wants."""

BAD = ("", " ", "\0", "x" * 10_000, "\N{SHEEP}" * 300, "1e999", "NaN", "letters", "-3", "9" * 40, '"><script>alert(1)')

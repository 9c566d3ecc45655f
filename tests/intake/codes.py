"""Bar codes and square codes read from dots, after their definitions: readers of our own, for tests."""

from PIL import Image

# Widths of the six bars and gaps of each value (ISO/IEC 15417; from memory), of the stop its first six.
WIDTHS = """
212222 222122 222221 121223 121322 131222 122213 122312 132212 221213 221312 231212 112232 122132 122231 113222
123122 123221 223211 221132 221231 213212 223112 312131 311222 321122 321221 312212 322112 322211 212123 212321
232121 111323 131123 131321 112313 132113 132311 211313 231113 231311 112133 112331 132131 113123 113321 133121
313121 211331 231131 213113 213311 213131 311123 311321 331121 312113 312311 332111 314111 221411 431111 111224
111422 121124 121421 141122 141221 112214 112412 122114 122411 142112 142211 241211 221114 413111 241112 134111
111242 121142 121241 114212 124112 124211 411212 421112 421211 212141 214121 412121 111143 111341 131141 114113
114311 411113 411311 113141 114131 311141 411131 211412 211214 211232 233111
"""
STANDARD = [tuple(map(int, widths)) for widths in WIDTHS.split()]


def read_bars(line: list[bool]) -> str | None:
    """Code 128 from one row of dots, after its definition: widths of bars and gaps, 11 modules a sign, check sum."""
    runs: list[int] = []
    for n, dark in enumerate(line):
        if n and dark == line[n - 1]:
            runs[-1] += 1
        else:
            runs.append(1)
    runs = runs[1:] if not line[0] else runs
    table = {tuple(widths): value for value, widths in enumerate(STANDARD)}
    values = []
    for first in range(0, len(runs) - 5, 6):
        six = runs[first : first + 6]
        module = sum(six) / 11
        value = table.get(tuple(round(run / module) for run in six))
        if value is None:
            return None
        values.append(value)
        if value == 106:
            break
    if len(values) < 3 or values[-1] != 106:
        return None
    start, *signs, check, _ = values
    if (start + sum(n * sign for n, sign in enumerate(signs, start=1))) % 103 != check:
        return None
    return _text(start, signs)


def _text(start: int, signs: list[int]) -> str:
    said, table = "", {103: "A", 104: "B", 105: "C"}[start]
    for sign in signs:
        if table == "C" and sign < 100:
            said += f"{sign:02}"
        elif sign in (99, 100, 101):
            table = {99: "C", 100: "B", 101: "A"}[sign]
        else:
            said += chr(sign + 32)
    return said


def read_square(image: Image.Image) -> str:
    """A QR code of version 1 or 2 that fills the image: its letters, without mending errors. After ISO/IEC 18004."""
    box = image.point(lambda dot: 255 if dot < 128 else 0).getbbox()
    image = image.crop(box)
    # The top edge of the first finder is seven modules wide.
    run = next(x for x in range(image.width) if image.getpixel((x, 2)) > 128)
    size = round(image.width / (run / 7))
    step = image.width / size
    dark = [
        [image.getpixel((int((x + 0.5) * step), int((y + 0.5) * step))) < 128 for x in range(size)] for y in range(size)
    ]
    assert size in (21, 25)
    formats = [dark[8][x] for x in (0, 1, 2, 3, 4, 5, 7)] + [dark[8][8]] + [dark[y][8] for y in (7, 5, 4, 3, 2, 1, 0)]
    fixed = [bool(int(bit)) for bit in "101010000010010"]
    bits = [one != other for one, other in zip(formats, fixed, strict=True)]
    mask = bits[2] * 4 + bits[3] * 2 + bits[4]
    rules = [
        lambda r, c: (r + c) % 2,
        lambda r, c: r % 2,
        lambda r, c: c % 3,
        lambda r, c: (r + c) % 3,
        lambda r, c: (r // 2 + c // 3) % 2,
        lambda r, c: r * c % 2 + r * c % 3,
        lambda r, c: (r * c % 2 + r * c % 3) % 2,
        lambda r, c: ((r + c) % 2 + r * c % 3) % 2,
    ]

    def is_function(r: int, c: int) -> bool:
        finders = (r < 9 and (c < 9 or c > size - 9)) or (r > size - 9 and c < 9)
        alignment = size == 25 and 16 <= r <= 20 and 16 <= c <= 20
        return finders or alignment or r == 6 or c == 6

    stream, column, upwards = [], size - 1, True
    while column > 0:
        column -= column == 6
        for step_ in range(size):
            r = size - 1 - step_ if upwards else step_
            stream += [dark[r][c] != (not rules[mask](r, c)) for c in (column, column - 1) if not is_function(r, c)]
        column, upwards = column - 2, not upwards
    return letters(stream)


def letters(stream: list[bool]) -> str:
    text, signs = "".join("1" if bit else "0" for bit in stream), "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
    assert text[:4] == "0010", "letters and digits"
    count, at, said = int(text[4:13], 2), 13, ""
    while len(said) < count:
        if count - len(said) > 1:
            pair = int(text[at : at + 11], 2)
            said, at = said + signs[pair // 45] + signs[pair % 45], at + 11
        else:
            said, at = said + signs[int(text[at : at + 6], 2)], at + 6
    return said

"""What to do about a line that is no TOML: the usual slips, by what the line looks like. Standard library only."""

import re

from pondpop.checks import Fact, InputError

_BY_MESSAGE = (
    ("twice", "head each table once, or write every entry of a list under double brackets, [[stocking]]"),
    ("overwrite", "this key stands twice: remove one, or begin a new entry with its [[heading]]"),
    ("Invalid date", "write a day that the calendar has, like 2027-06-01"),
)
_BY_LINE = (
    (r"^[^=\"']*\w +\w[^=]*=", "write keys without blanks, per_acre for per acre"),
    (r"[“”„‘’]", 'use straight quotation marks, "'),
    (r"=\s*\d{1,4}[/.-]\d{1,2}[/.-]\d{1,4}\s*$", "write dates as 2027-06-01"),
    (r"[a-z]{3,9}\.? \d{1,2},? \d{4}", "write dates as 2027-06-01"),
    (r"=\s*(true|false|yes|no)\s*$", "write true or false in small letters"),
    (r"=\s*\$", "write the number alone, without $"),
    (r"\b\d{1,3}(,\d{3})+\b", "write numbers without thousands commas, 1000 for 1,000"),
    (r"=\s*\[?\s*\d+[ -]\d+/\d", "write fractions as decimals, 2.5 for 2 1/2"),
    (r"^\[+[\w.-]+ +[\w. -]+\]+$", "write the names of headings without blanks, 75_per_acre for 75 per acre"),
    (r"=\s*\[?\s*\d\d-\d\d\b", 'write days of every year in quotes, "04-15"'),
    (r"=\s*[+-]?\.\d", "begin numbers with a digit, 0.5 for .5"),
    (r"=\s*0\d", "write numbers without a zero before them, 5 for 05"),
    (r"""=\s*\d[\d.]*\s*[a-z%"'°]""", "write the number alone: its unit is part of the key"),
    (r"^[^=]*:", "write key = value, with = in place of :"),
    (r"""=[\s[]*[a-z_]""", 'write words in quotes, "fertilized"'),
    (r"""=\s*["'][^"']*$""", "close the quotation marks"),
    (r"=\s*$", "write a value after =, or remove the line"),
    (r"^\s*[^=\[]*$", "write key = value; comments begin with #"),
)
_UNCLOSED = "close every [ and { that is opened, with commas between the values"
_OTHERWISE = 'each line is key = value, [table] or [[list]]; dates like 2027-06-01, numbers without commas, "words"'


def syntax_error(content: str, error: ValueError) -> InputError:
    """The error of Python's TOML reader with its place, the line as it stands, and what to do."""
    message, _, place = str(error).partition(" (at ")
    lines = content.split("\n")
    found = re.match(r"line (\d+), column (\d+)", place)
    number = int(found[1]) if found else next((i for i in range(len(lines), 1, -1) if lines[i - 1].strip()), 1)
    where = f"line {number}, column {found[2]}" if found else f"line {number}, the end of the file"
    line = lines[number - 1].strip()
    if "Exceeds the limit" in message:  # it comes without a place
        return InputError("", Fact("a number of thousands of digits"), "valid TOML", "write shorter numbers")
    return InputError(where, Fact(line or "an empty line"), f"valid TOML ({_plain(message)})", _remedy(line, message))


def _plain(message: str) -> str:
    """The reader's words, their first letter small as they stand inside a line."""
    return message[:1].lower() + message[1:]


def _remedy(line: str, message: str) -> str:
    told = next((remedy for words, remedy in _BY_MESSAGE if words in message), None)
    bare = _without_comment(line)
    seen = next((remedy for pattern, remedy in _BY_LINE if re.search(pattern, bare, re.IGNORECASE)), None)
    return told or seen or (_UNCLOSED if "Unclosed" in message else _OTHERWISE)


def _without_comment(line: str) -> str:
    """The line, not too long to be looked at, without a comment after a value that is not quoted."""
    line = line[:500]
    return line if '"' in line or "'" in line else line.partition("#")[0].rstrip()

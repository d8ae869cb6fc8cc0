"""What is wrong with a text that is not TOML, in the words of someone who wants to mend it."""

from __future__ import annotations

import re

# The reader's words, and ours.
_PLAIN: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(found, re.IGNORECASE), said)
    for found, said in (
        (
            r"illegal character '\\n'|unterminated string",
            "a text is not closed: its second quotation mark is missing",
        ),
        (
            r"expected newline or end of document after a statement",
            "something follows the value on its line",
        ),
        (r"invalid value", "what follows the = is no value"),
        (r"invalid statement", "this is neither a [table] nor a key = value pair"),
        (r"cannot overwrite a value", "a key stands twice in its table"),
        (r"duplicate inline table key '(.*)'", r"the key \1 stands twice in its table"),
        (r"cannot declare \('(.*?)',?\) twice", r"the table [\1] stands twice"),
        (r"expected '=' after a key in a key/value pair", "there is no = after the key"),
        (r"unescaped '\\\\' in a string", r"a \\ in a text is written twice, or within '…'"),
    )
)
# Feet and inches whose marks end the text that they stand in: "10'6"", '10' 6"', "3" x 4"".
_MARKS = re.compile(r"""= *(?:"[^"]*\d"|'[^']*\d')[ \d"'x,]""")
_MARKS_HINT = (
    'a mark of feet or inches that is also the quotation mark ends the text: write "12 ft 4 1/2 in"'
)
_BARE = re.compile(r"""= *[-+\w.]+ *[^\s#"\[\]{},]""")
_BARE_HINT = 'words and quantities are written in quotes, such as "2.4 m"'


def reason(message: str, line: str) -> str:
    """A refusal of the TOML reader in plain words.

    Parameters
    ----------
    message : str
        What it says, without the place.
    line : str
        The line of the text that it speaks of.

    Examples
    --------
    >>> reason("Cannot overwrite a value", 'id = "a"')
    'a key stands twice in its table'
    """
    said = message[:1].lower() + message[1:200]
    for found, plain in _PLAIN:
        match = found.fullmatch(message)
        if match is not None:
            said = match.expand(plain)
            break
    if _MARKS.search(line) is not None:
        return f"{said}; {_MARKS_HINT}"
    if "value" in said and _BARE.search(line) is not None:
        return f"{said}; {_BARE_HINT}"
    return said

"""Plain words for what the YAML parser complains about. May import: the standard library only."""

from __future__ import annotations

__all__ = ["plain_words"]

# What the parser says (C or Python), what it means, what helps.
_SAYINGS = (
    (
        "mapping values are not allowed",
        "a ':' cannot stand here",
        "put text that holds ': ' in quotes, and see whether the line before lacks its ':' or is indented otherwise",
    ),
    ("could not find expected ':'", "a ':' after the key is missing here or on the line before", "write 'name: value'"),
    ("'\\t'", "a tab stands where only spaces may stand", "indent with spaces"),
    ("that cannot start any token", "this character cannot begin a value", "put the text in quotes"),
    ("unexpected end of stream", "a quote is opened and never closed", "close it with the same quote"),
    ("while scanning a quoted scalar", "this quoted text is not closed properly", "close it with the same quote"),
    ("expected ',' or ']'", "a list in [ ] is not closed, or a comma is missing", ""),
    ("expected ',' or '}'", "a mapping in { } is not closed, or a comma is missing", ""),
    ("unknown escape character", "this backslash means nothing", "use single quotes, or two backslashes"),
    ("expected '-' indicator", "this line is not indented like the list around it", "line up the dashes"),
    ("expected key", "this line is not indented like the lines around it", "line it up, or put the text in quotes"),
    ("expected <block end>", "this line is not indented like the lines around it", "line it up, or use quotes"),
    ("expected <document start>", "the file should end here, and something follows", "is it indented wrongly?"),
    ("block sequence entries are not allowed", "a '- ' cannot stand here", "begin the list on a line of its own"),
    ("tabs that violate indentation", "a tab stands where only spaces may stand", "indent with spaces"),
    ("undefined alias", "an alias (*) is not allowed", "write the value out again"),
    ("found undefined tag", "a tag (!) is not allowed", "put the text in quotes"),
    ("alphabetic or numeric character", "a '*' or '&' cannot begin a value", "put the text in quotes"),
    ("expected node content", "a value is missing here", "is there a ',', ':' or bracket too many?"),
    ("exceeded max", "this is nested too deeply", ""),
)


def plain_words(problem: str, context: str = "") -> tuple[str, str]:
    """A sentence and a hint for a parser's complaint and what the parser was doing."""
    for saying, meaning, hint in _SAYINGS:
        if saying in problem:
            return meaning, hint
    for saying, meaning, hint in _SAYINGS:
        if saying in context:
            return meaning, hint
    doing = f" {context}" if context else ""
    return f"this is not YAML: {problem}{doing}", ""

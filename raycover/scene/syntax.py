"""A YAML parser's complaint in plain words, placed where the parser stopped."""

from __future__ import annotations

from collections.abc import Callable

import yaml

from raycover.errors import Position, Problem

# (part of the parser's message, what to tell the reader, what to do). libyaml and the pure-Python parser
# word the same fault differently, so some rows come in pairs. First match wins.
_WORDS: tuple[tuple[str, str, str], ...] = (
    ("tab character", "a tab stands where YAML wants spaces", "indent with spaces"),
    (
        "mapping values are not allowed",
        "a colon is not expected here",
        "put text that holds a colon in quotes, and start the keys of one group in the same column",
    ),
    (
        "block sequence entries are not allowed",
        "a list entry (-) is not expected here",
        "start each entry of a list on its own line, all in the same column",
    ),
    (
        "sequence entries are not allowed",
        "a list entry (-) is not expected here",
        "start each entry of a list on its own line, all in the same column",
    ),
    ("expected ',' or ']'", "a comma or ] is missing", "close the list with ]"),
    ("expected ',' or '}'", "a comma or } is missing", "close the group with }"),
    (
        "unexpected end of stream",
        "this quoted text is never closed",
        "close it with the quote it began with",
    ),
    ("unexpected document separator", "this quoted text is never closed", "close it with its quote"),
    (
        "expected ':'",
        "a colon is missing after this key",
        "write `key: value`, with a space after the colon",
    ),
    (
        "unknown escape character",
        "a backslash in double quotes begins an escape that YAML does not know",
        "use single quotes, or write the backslash twice",
    ),
    (
        "invalid Unicode character escape",
        "this escape is half a character (a surrogate) or no character",
        "write the character itself, or all of it as one \\UXXXXXXXX escape",
    ),
    ("hexdecimal number", "an escape lacks hexadecimal digits", "use single quotes, or double the backslash"),
    ("hexadecimal", "an escape lacks hexadecimal digits", "use single quotes, or double the backslash"),
    (
        "<document start>",
        "there is more after the end of the document",
        "a file holds one group of keys; check the indentation and the brackets before this line",
    ),
    ("expected node content", "a value is missing before this", "write a value, or put the text in quotes"),
    (
        "expected the node content",
        "a value is missing before this",
        "write a value, or put the text in quotes",
    ),
    (
        "expected '-' indicator",
        "this line does not belong to the list above it",
        "start each entry with - in the same column, or check the indentation",
    ),
    (
        "expected key",
        "this does not fit the group of keys above it",
        "start the keys of one group in the same column, and put text after a closing quote inside it",
    ),
    (
        "expected <block end>",
        "this does not fit the lines above it",
        "start the keys or entries of one group in the same column",
    ),
    ("incompatible YAML document", "this YAML version is not known", "leave out the %YAML line"),
)


def syntax_problem(error: yaml.YAMLError, place: Callable[[int, int], Position]) -> Problem:
    """`error` as a Problem; `place(line, column)`, both from 1, gives the Position in the file."""
    mark = getattr(error, "problem_mark", None)
    opened = getattr(error, "context_mark", None)
    said = str(getattr(error, "problem", None) or getattr(error, "reason", None) or error)
    position = place(mark.line + 1, mark.column + 1) if mark is not None else place(1, 1)
    if "tag handle" in said:
        message = "tags (words that begin with !) are not allowed"
        return Problem("yaml-tag", message, position, "remove the tag")
    if "maximum nesting depth" in said:  # libyaml's own limit, met while looking ahead of the events
        return Problem("too-deep", "groups and lists are nested far too deep", position)
    # The end of the file says nothing: what was left open does.
    unclosed = any(words in said for words in ("end of stream", "separator", "or ']'", "or '}'"))
    if unclosed and opened is not None and not position.text.strip():
        position = place(opened.line + 1, opened.column + 1)

    message, hint = said, "check this line and the one before it"
    if "cannot start any token" in said:
        found = position.text[position.column - 1 : position.column]
        if found == "\t":
            message, hint = _WORDS[0][1:]
        else:
            message, hint = f'a value cannot begin with "{found}"', "put the text in quotes"
    else:
        for part, words, action in _WORDS:
            if part in said:
                message, hint = words, action
                break
    if opened is not None and opened.line + 1 != position.line:
        message += f" (in what began on line {opened.line + 1})"
    return Problem("yaml-syntax", message, position, hint)

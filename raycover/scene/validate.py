"""Checking what was read against a pydantic model: every error placed in the file, in plain words.

Any pydantic v2 model will do. A custom error may carry, in the `ctx` of a PydanticCustomError:
`help` (what to do), `at` (keys and indices from the validator's own value to the culprit) and `key` (true to
point at the culprit's key). Its type, with hyphens, becomes the problem's code.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from raycover.errors import InputError, Problem
from raycover.scene.reading import Document, Loc, read_yaml
from raycover.scene.schema_view import schema_view
from raycover.scene.union_errors import align, collapse
from raycover.scene.wording import Wording

Model = TypeVar("Model", bound=BaseModel)


def validate(
    model: type[Model],
    document: Document,
    *,
    at: Loc = (),
    problems: Sequence[Problem] = (),
    strict: bool | None = None,
    context: Any = None,
) -> Model:
    """The part of `document` at `at` (all of it by default) as an instance of `model`.

    `problems` are those found on reading; they are raised along with the errors found here, which are left
    out where they only echo one of them. `strict` and `context` go to pydantic. Raises InputError.
    """
    data: Any = document.data
    for part in at:
        data = data[part]
    try:
        instance = model.model_validate(data, strict=strict, context=context)
    except ValidationError as error:
        found = placed_problems(error, model, document, at=at)
        spoilt = {(p.position.line, p.position.column) for p in problems}
        fresh = [p for p in found if (p.position.line, p.position.column) not in spoilt]
        raise InputError([*problems, *(fresh if problems else found)]) from None
    if problems:
        raise InputError(problems)
    return instance


def read_model(
    model: type[Model], path: Path, *, strict: bool | None = None, context: Any = None
) -> tuple[Model, Document]:
    """Read a YAML file and check it, reporting what is wrong with either in one go. Raises InputError."""
    problems: list[Problem] = []
    document = read_yaml(path, problems=problems)
    return validate(model, document, problems=problems, strict=strict, context=context), document


def placed_problems(
    error: ValidationError, model: type[BaseModel], document: Document, *, at: Loc = ()
) -> list[Problem]:
    """Every error in `error`, raised on validating the part of `document` at `at`, as a placed Problem."""
    data: Any = document.data
    for part in at:
        data = data[part]
    view = schema_view(model)
    faults = [align(details, data, view) for details in error.errors(include_url=False)]
    return Wording(document, at, view).problems(collapse(faults))

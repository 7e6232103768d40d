"""What a person wrote, checked part by part: values that can be used, and every mistake with its line.

The rule of this file: a part that is wrong never hides what is wrong in another.
"""

import typing
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from wardian.rules.documents import Document, Path, dotted, nearest, shown
from wardian.rules.errors import Mistake


class Section(BaseModel):
    """Keys that stand together: nothing else, and nothing turned into something else."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True
    )


#: A list in a section; YAML knows no tuples.
LIST: Final = Field(strict=False)
SOME: Final = Field(strict=False, min_length=1)

#: Nobody reads more, and to look for them takes time on a small board.
MOST_MISTAKES: Final = 1_000

AnySection = TypeVar("AnySection", bound=Section)

_WHERE_INSTEAD: Final = "name a file or an environment variable instead: password_file or password_env"
_NOUNS: Final = {
    "string_type": "text",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "tuple_type": "a list",
    "dict_type": "a mapping",
    "model_type": "a mapping of keys",
}


def key(accepts: str, default: Any = ..., why: str = "") -> Any:
    """Return a key of a section: what it accepts, its default, and the reason of the default."""
    return Field(default, description=accepts, json_schema_extra={"why": why})


def why_default(section: type[Section], name: str) -> str:
    """Return the reason of a key's default, or nothing where it has none."""
    extra = section.model_fields[name].json_schema_extra
    return str(extra["why"]) if isinstance(extra, dict) else ""


def wrong(problem: str, hint: str = "") -> PydanticCustomError:
    """Return the error that a check of one value raises."""
    # The words travel beside the template: braces in them mean nothing.
    return PydanticCustomError("wrong", "{problem}", {"problem": problem, "hint": hint})


@dataclass(slots=True)
class Written:
    """One document and what was found wrong in it so far."""

    document: Document
    mistakes: list[Mistake] = field(default_factory=list)
    warnings: list[Mistake] = field(default_factory=list)
    #: Every section that could be used, and where it stands.
    sections: dict[Path, Section] = field(default_factory=dict)
    _wrong: set[str] = field(default_factory=set)

    def mistake(self, path: Path, problem: str, hint: str = "") -> None:
        """Note a mistake, unless that place is known to be wrong already."""
        place = dotted(path)
        if place not in self._wrong and len(self._wrong) < MOST_MISTAKES:
            self._wrong.add(place)
            self.mistakes.append(self._at(path, problem, hint))

    def is_wrong(self, path: Path) -> bool:
        """Return whether a mistake is known at or below a place."""
        place = dotted(path)
        return any(known.path.startswith(place) for known in self.mistakes)

    def warn(self, path: Path, problem: str, hint: str = "") -> None:
        """Note what can be used but is hardly meant."""
        self.warnings.append(self._at(path, problem, hint))

    def _at(self, path: Path, problem: str, hint: str) -> Mistake:
        return Mistake(dotted(path), self.document.line(path), problem, hint)

    def at(self, path: Path) -> Any:
        """Return what stands at a path, or None where nothing does."""
        return self.document.at(path)

    def mapping(self, path: Path) -> Mapping[str, Any]:
        """Return the mapping at a path; where something else stands, note it and return an empty one."""
        value = self.at(path)
        if value is not None and not isinstance(value, dict):
            self.mistake(path, f"is {described(value)}", "a mapping of keys is accepted")
        return value if isinstance(value, dict) else {}

    def items(self, path: Path) -> list[Path]:
        """Return the paths of a list's items; where no list stands, note it and return none."""
        value = self.at(path)
        if value is not None and not isinstance(value, list):
            self.mistake(path, f"is {described(value)}", "a list is accepted")
        return [(*path, place) for place in range(len(value))] if isinstance(value, list) else []

    def read(
        self, section: type[AnySection], path: Path, context: Mapping[str, Any] | None = None
    ) -> AnySection | None:
        """Return a section, or None where it is wrong; an absent one is read as one without keys."""
        value = self.at(path)
        try:
            read = section.model_validate({} if value is None else value, context=dict(context or {}))
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                self._note(section, path, detail)
            return None
        self.sections[path] = read
        return read

    def known_keys(self, path: Path, accepted: Iterable[str]) -> None:
        """Note every key of a mapping that is none of the accepted ones."""
        names = tuple(accepted)
        for name in self.mapping(path):
            if name not in names and len(self._wrong) < MOST_MISTAKES:
                self.mistake((*path, name), "is no known key", nearest(name, names))

    def refuse_everywhere(self, may_be_nothing: Callable[[Path], bool], path: Path = ()) -> None:
        """Note keys with nothing behind them, but where that may be, and secrets that were written out."""
        value = self.at(path)
        if path and value is None and not may_be_nothing(path):
            comma = isinstance(path[-1], str) and path[-1][:1].isdigit()
            hint = "write a decimal point, not a comma" if comma else "write a value, or take the key out"
            self.mistake(path, "has nothing written behind it", hint)
        if path and path[-1] == "password":
            self.mistake(path, "is a secret, which must not stand here", _WHERE_INSTEAD)
        elif isinstance(value, dict):
            for name in value:
                self.refuse_everywhere(may_be_nothing, (*path, name))
        elif isinstance(value, list):
            for place in range(len(value)):
                self.refuse_everywhere(may_be_nothing, (*path, place))

    def _note(self, section: type[Section], path: Path, detail: ErrorDetails) -> None:
        where = tuple(step for step in detail["loc"] if step != "[key]")
        kind, given = detail["type"], detail["input"]
        owner = _section_at(section, where[:-1])
        if kind == "too_short" and given:
            return  # it has items; what is wrong with them is told by itself
        if kind == "extra_forbidden":
            known = owner.model_fields if owner else ()
            self.mistake((*path, *where), "is no known key", nearest(str(where[-1]), known))
            return
        accepts = _accepts(owner, where)
        if kind == "missing":
            self.mistake((*path, *where), "is missing", accepts)
        elif kind == "wrong":
            words = detail["ctx"]
            self.mistake((*path, *where), words["problem"], words["hint"] or accepts)
        elif kind == "literal_error" and isinstance(given, str):
            names = _literals(owner, where)
            self.mistake((*path, *where), f"is {shown(given)}", nearest(given, names))
        else:
            noun = _NOUNS.get(kind, "")
            hint = accepts or (f"{noun} is accepted" if noun else detail["msg"])
            quotes = kind == "string_type" and not isinstance(given, (dict, list))
            self.mistake(
                (*path, *where), f"is {described(given)}", hint + ("; put quotes around it" if quotes else "")
            )


def described(value: Any) -> str:
    """Return what stands somewhere, in few words for a message."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, (list, tuple)):
        return "a list" if value else "an empty list"
    return f"the text {shown(value)}" if isinstance(value, str) else shown(value)


def _section_at(section: type[Section], where: Path) -> type[Section] | None:
    """Return the section whose keys stand at a place, following the models downwards."""
    found: type[Section] | None = section
    for step in where:
        if found is not None and isinstance(step, str):
            field = found.model_fields.get(step)
            found = _section_in(field.annotation) if field else None
    return found


def _section_in(annotation: Any) -> type[Section] | None:
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    inner = (_section_in(part) for part in typing.get_args(annotation))
    return next((part for part in inner if part is not None), None)


def _accepts(owner: type[Section] | None, where: Path) -> str:
    names = [step for step in where if isinstance(step, str)]
    field = owner.model_fields.get(names[-1]) if owner and names else None
    return f"{field.description} is accepted" if field and field.description else ""


def _literals(owner: type[Section] | None, where: Path) -> list[str]:
    field = owner.model_fields.get(str(where[-1])) if owner else None
    annotation = field.annotation if field else None
    parts = [annotation, *typing.get_args(annotation)]
    return [str(name) for part in parts for name in typing.get_args(part) if isinstance(name, str)]


def within(section: Section, path: Path) -> Iterator[tuple[Path, Section]]:
    """Yield a section and every section in it, each with the path at which it stands."""
    yield path, section
    for name in section.model_fields_set:
        value = getattr(section, name)
        parts: Iterable[tuple[Path, Any]] = [((), value)]
        if isinstance(value, tuple):
            parts = [((place,), part) for place, part in enumerate(value)]
        elif isinstance(value, dict):
            parts = [((part_name,), part) for part_name, part in value.items()]
        for step, part in parts:
            if isinstance(part, Section):
                yield from within(part, (*path, name, *step))

"""The API's reference, made from its own description: what each operation takes, answers and refuses.

Flow     OpenAPI document -> **operations in words and rows** -> template
Source   OpenAPI 3.1, JSON Schema 2020-12: the parts that our own document uses
"""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType
from typing import Any

DEEPEST = 6
"""Members within members are listed and made up that deep."""
PROBLEM = "application/problem+json"
MEANINGS: Mapping[int, str] = MappingProxyType(
    {
        200: "done, or known already", 201: "stored", 204: "done; no body",
        207: "some stored, some not: a status for each",
        400: "not readable: the body is no such message at all", 401: "who asks is not known: show a key, or sign in",
        403: "refused", 404: "there is no such thing, or none that you may know of",
        408: "the body took too long to come", 409: "it does not fit with what is kept; nothing was changed",
        413: "too large", 415: "another kind of body is wanted", 422: "readable, but something in it cannot be used",
        429: "too many at once: wait as long as Retry-After says",
        503: "not possible just now: try again after Retry-After",
    }
)  # fmt: skip
"""What a status means here."""


@dataclass(frozen=True, slots=True)
class Member:
    """A member of a body: its path in it, its kind, whether it is needed, and what is said of it."""

    name: str
    kind: str
    needed: bool
    says: str


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer: its status, what that means, its media type, its members."""

    status: str
    says: str
    media_type: str
    members: tuple[Member, ...]


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation, with an example that a shell can send."""

    anchor: str
    method: str
    path: str
    says: tuple[str, ...]
    parameters: tuple[Member, ...]
    takes: str
    body: tuple[Member, ...]
    answers: tuple[Answer, ...]
    refusals: tuple[Answer, ...]
    example: str


@dataclass(frozen=True, slots=True)
class Group:
    """Operations of one subject."""

    name: str
    operations: tuple[Operation, ...]


def tell_reference(document: Mapping[str, Any], *, address: str) -> tuple[Group, ...]:
    """Turn the description into groups of operations, in its own order.

    Parameters
    ----------
    document
        As ``/openapi.json`` gives it.
    address
        Under which the service was reached, for the examples.
    """
    found: dict[str, list[Operation]] = {}
    schemas = document.get("components", {}).get("schemas", {})
    for path, item in document["paths"].items():
        for method, described in item.items():
            group = (described.get("tags") or ["health"])[0]
            made = _operation(method.upper(), path, described, schemas, address)
            found.setdefault(group, []).append(made)
    return tuple(Group(name[:1].upper() + name[1:], tuple(made)) for name, made in found.items())


def _operation(
    method: str, path: str, described: Mapping[str, Any], schemas: Mapping[str, Any], address: str
) -> Operation:
    takes, schema = _content(described.get("requestBody", {}))
    answers = tuple(_answer(int(s), a, schemas) for s, a in sorted(described["responses"].items()))
    return Operation(
        anchor=re.sub(r"\W+", "-", f"{method}{path}").strip("-").lower(),
        method=method,
        path=path,
        says=tuple(" ".join(part.split()) for part in described.get("description", "").split("\n\n") if part),
        parameters=tuple(
            Member(p["name"], f"in the {p['in']}", p.get("required", False), p.get("description", ""))
            for p in described.get("parameters", ())
        ),
        takes=takes,
        body=tuple(_members(schema, schemas)),
        answers=tuple(a for a in answers if int(a.status) < 400),
        refusals=tuple(a for a in answers if int(a.status) >= 400),
        example=_example(method, path, takes, schema, schemas, address),
    )


def _content(described: Mapping[str, Any]) -> tuple[str, Mapping[str, Any]]:
    """Media type and schema of a body; nothing where there is none."""
    for media_type, content in described.get("content", {}).items():
        return media_type, content.get("schema", {})
    return "", {}


def _answer(status: int, described: Mapping[str, Any], schemas: Mapping[str, Any]) -> Answer:
    media_type, schema = _content(described)
    said = described.get("description", "")
    usual = {"Successful Response", HTTPStatus(status).phrase}
    says = MEANINGS.get(status, said) if said in usual else said
    members = () if media_type == PROBLEM else tuple(_members(schema, schemas))
    return Answer(str(status), says, media_type, members)


def _resolve(schema: Mapping[str, Any], schemas: Mapping[str, Any]) -> tuple[Mapping[str, Any], bool]:
    """Follow a reference, and take the part of an either-or that is not null."""
    may_be_null = False
    for _ in range(DEEPEST):
        either = schema.get("anyOf") or schema.get("oneOf")
        if "$ref" in schema:
            schema = schemas.get(schema["$ref"].rpartition("/")[2], {})
        elif either:
            may_be_null = may_be_null or any(part.get("type") == "null" for part in either)
            rest = [part for part in either if part.get("type") != "null"]
            schema = {
                **rest[0],
                **({"description": schema["description"]} if "description" in schema else {}),
            }
    return schema, may_be_null


def _members(
    schema: Mapping[str, Any], schemas: Mapping[str, Any], *, within: str = "", deep: int = 0
) -> Iterator[Member]:
    schema, _ = _resolve(schema, schemas)
    if schema.get("type") == "array":
        yield from _members(schema.get("items", {}), schemas, within=f"{within}[]", deep=deep)
        return
    needed = schema.get("required", ())
    for name, raw in schema.get("properties", {}).items():
        part, may_be_null = _resolve(raw, schemas)
        path = f"{within}.{name}" if within else name
        says = raw.get("description") or ("" if "$ref" in raw else part.get("description", ""))
        yield Member(path, _kind(part, schemas, may_be_null), name in needed, " ".join(says.split()))
        if deep < DEEPEST:
            yield from _members(part, schemas, within=path, deep=deep + 1) if _has_members(part) else ()


def _has_members(part: Mapping[str, Any]) -> bool:
    return "properties" in part or part.get("type") == "array"


def _kind(part: Mapping[str, Any], schemas: Mapping[str, Any], may_be_null: bool) -> str:
    kind = part.get("type", "any")
    said = " or ".join(kind) if isinstance(kind, list) else str(kind)
    if "enum" in part:
        said = "one of " + ", ".join(json.dumps(value) for value in part["enum"])
    elif "const" in part:
        said = json.dumps(part["const"])
    elif kind == "array":
        item, _ = _resolve(part.get("items", {}), schemas)
        said = f"list of {item.get('type', 'any')}"
    elif part.get("format"):
        said = f"{said}, {part['format']}"
    return f"{said}, or null" if may_be_null else said


def _example(
    method: str,
    path: str,
    takes: str,
    schema: Mapping[str, Any],
    schemas: Mapping[str, Any],
    address: str,
) -> str:
    lines = [f"curl -X {method} '{address}{path}'"]
    if not path.startswith("/health/"):
        lines.append("  -H 'Authorization: Bearer KEY'")
    if takes:
        lines.append(f"  -H 'Content-Type: {takes}'")
        body = json.dumps(_made_up(schema, schemas, deep=0), ensure_ascii=False).replace("'", "’")
        lines.append(f"  -d '{body}'")
    return " \\\n".join(lines)


def _made_up(schema: Mapping[str, Any], schemas: Mapping[str, Any], *, deep: int) -> Any:
    """A value of a schema: what is needed, or where nothing is, the first three members."""
    part, _ = _resolve(schema, schemas)
    for known in ("example", "default", "const"):
        if part.get(known) is not None:
            return part[known]
    if part.get("examples"):
        return part["examples"][0]
    if "enum" in part:
        return part["enum"][0]
    kind = part.get("type")
    kind = kind[0] if isinstance(kind, list) else kind
    if kind == "array":
        return [_made_up(part.get("items", {}), schemas, deep=deep + 1)] if deep < DEEPEST else []
    if "properties" in part:
        names = part.get("required") or list(part["properties"])[:3]
        return {n: _made_up(part["properties"][n], schemas, deep=deep + 1) for n in names if deep < DEEPEST}
    return _plain_value(str(kind), part)


def _plain_value(kind: str, part: Mapping[str, Any]) -> Any:
    if kind in ("number", "integer"):
        low = part.get("minimum", part.get("exclusiveMinimum", 0))
        return low + 1
    if kind == "boolean":
        return True
    such_as = re.search(r"such as ([^\s,;]+)", part.get("description", ""), re.IGNORECASE)
    if such_as:
        return such_as[1]
    return {"date": "2026-01-16", "date-time": "2026-01-16T06:10:00Z"}.get(part.get("format", ""), "text")

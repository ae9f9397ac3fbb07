"""Taking everything out: each table once as CSV, and all of them together as JSON, in one archive.

Flow     register -> rows -> **archive** -> page
Source   GDPR articles 15 and 20 (a structured, commonly used and machine-readable format)
"""

import base64
import csv
import io
import json
import zipfile
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from api.store import Session
from api.store.accounts.belongings import rows_of
from api.store.accounts.grants import list_tanks_of, owns

Tables = dict[str, list[dict[str, Any]]]
_BEGINNINGS_OF_FORMULAS = ("=", "+", "-", "@", "\t", "\r")


def export_account(session: Session, account_id: int) -> bytes:
    """Archive an account and every tank that it owns; of tanks it only looks on at, its own part."""
    owned = [tank.id for tank in list_tanks_of(session, account_id) if owns(session, account_id, tank.id)]
    return _archive(
        [("account", account_id), *(("tank", tank_id) for tank_id in owned)],
        session,
    )


def export_tank(session: Session, tank_id: int) -> bytes:
    """Archive all that is kept of a tank."""
    return _archive([("tank", tank_id)], session)


def _archive(roots: Iterable[tuple[str, int]], session: Session) -> bytes:
    tables: Tables = {}
    for root, root_id in roots:
        for name, rows in rows_of(session, root, root_id):
            known = tables.setdefault(name, [])
            known += [row for row in map(_plain, rows) if row not in known] if known else map(_plain, rows)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("everything.json", json.dumps(tables, ensure_ascii=False, allow_nan=False, indent=1))
        for name, rows in tables.items():
            if rows:
                archive.writestr(f"tables/{name}.csv", _csv(rows))
    return packed.getvalue()


def _csv(rows: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _harmless(value) for name, value in row.items()} for row in rows)
    return text.getvalue()


def _harmless(value: Any) -> Any:
    """Keep a spreadsheet from taking a text for a formula: such a text begins with an apostrophe."""
    is_formula = isinstance(value, str) and value.startswith(_BEGINNINGS_OF_FORMULAS)
    return f"'{value}" if is_formula else value


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    return {name: _plain_value(value) for name, value in row.items()}


def _plain_value(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, bytes):
        try:
            return value.decode("utf-8")
        except UnicodeDecodeError:
            return "base64:" + base64.b64encode(value).decode("ascii")
    return value

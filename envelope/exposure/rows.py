"""Tables of results as rows: plain dictionaries, CSV text, data frames, HTML for notebooks."""

from __future__ import annotations

import csv
import html
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal, get_args

from envelope.errors import MissingExtraError, RangeError

Row = dict[str, Any]
Table = Literal["levels", "sources", "bands", "panels"]

MAX_HTML_ROWS = 60


def rows_of(plans: Iterable[Mapping[str, Any]], table: Table) -> list[Row]:
    """Rows of one table from plans as plain data.

    Parameters
    ----------
    plans : iterable of mapping
        From `serialise.plan_as_plain`.
    table : "levels", "sources", "bands" or "panels"
    """
    if table not in get_args(Table):
        raise RangeError(f"{table!r} is no table: it is one of {', '.join(get_args(Table))}")
    rows: list[Row] = []
    for plan in plans:
        for receiver in plan["receivers"]:
            head = {"plan": plan["plan"], "receiver": receiver["id"]}
            if table == "levels":
                rows.append({**head, **_scalars(receiver), **_scalars(receiver["total"] or {})})
                continue
            for entry in receiver[table]:
                name = {"id": "source"} if table == "sources" else {}
                added = _scalars(entry.get("total") or {})
                rows.append({**head, **_scalars(entry, name), **added})
    return rows


def _scalars(entry: Mapping[str, Any], names: Mapping[str, str] | None = None) -> Row:
    """What fits into a cell; lists of words are joined."""
    found: Row = {}
    for key, value in entry.items():
        if key == "id" and not names:
            continue
        if isinstance(value, list) and all(isinstance(item, str) for item in value):
            found[key] = " ".join(value)
        elif not isinstance(value, list | dict):
            found[(names or {}).get(key, key)] = value
    return found


def columns_of(rows: Sequence[Row]) -> list[str]:
    """Every column of some rows, in the order in which they first come."""
    return list(dict.fromkeys(key for row in rows for key in row))


def csv_of(rows: Sequence[Row]) -> str:
    """Rows as CSV with a header; what is not known or infinite is left empty."""
    text = io.StringIO()
    writer = csv.DictWriter(text, columns_of(rows), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def data_frame(rows: Sequence[Row]) -> Any:
    """Rows as a pandas DataFrame.

    Raises
    ------
    MissingExtraError
        Where pandas is not installed.
    """
    try:
        import pandas
    except ImportError:
        raise MissingExtraError(library="pandas", extra="notebook") from None
    return pandas.DataFrame(list(rows), columns=columns_of(rows))


def html_of(rows: Sequence[Row], *, caption: str) -> str:
    """Rows as an HTML table for a notebook; a long one is cut and says so."""
    columns = columns_of(rows)
    head = "".join(f"<th>{html.escape(column)}</th>" for column in columns)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(_cell(row.get(key)))}</td>" for key in columns)
        + "</tr>"
        for row in rows[:MAX_HTML_ROWS]
    )  # fmt: skip
    left = len(rows) - MAX_HTML_ROWS
    more = f"<p>… and {left} more rows</p>" if left > 0 else ""
    return (
        f"<table><caption>{html.escape(caption)}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"
    )


def _cell(value: object) -> str:
    if value is None:
        return "–"
    if isinstance(value, float):
        return f"{value:.4g}" if math.isfinite(value) else "∞"
    return str(value)

"""The pages that show one job."""

from __future__ import annotations

from dataclasses import dataclass, field

from viewer.app.protocol import Tell, Told
from viewer.app.session import Session
from viewer.app.tables import names_told, parts_told, rows_told, tables_told


@dataclass(slots=True, kw_only=True, eq=False)
class Page:
    """One open page."""

    tell: Tell
    plans: tuple[str, ...] = ()  # that it shows
    receiver: str | None = None
    sees_file: bool = False
    file_told: tuple[str, ...] | None = None  # the text that it was last told, sources kept


@dataclass(slots=True, kw_only=True, eq=False)
class Pages:
    """Every open page of a job.

    Parameters
    ----------
    session : Session
    """

    session: Session
    open: list[Page] = field(default_factory=list)

    def tell_all(self, what: Told) -> None:
        """Tell every page."""
        for page in self.open:
            page.tell(what)

    @property
    def plans(self) -> set[str]:
        """Plans that any of them shows."""
        return {name for page in self.open for name in page.plans}

    @property
    def receivers(self) -> set[str | None]:
        """Receivers that any of them shows."""
        return {page.receiver for page in self.open}

    def tell_file(self) -> None:
        """Tell the text and the tables to the pages that show them, where they are new."""
        text = self.session.text
        for page in self.open:
            if page.sees_file and page.file_told != (text, *self.session.kept):
                first = page.file_told is None
                page.file_told = (text, *self.session.kept)
                page.tell(
                    {
                        "tell": "file",
                        "text": text,
                        "tables": list(tables_told()) if first else [],
                        "rows": rows_told(text),
                        "parts": parts_told(text),
                        "names": names_told(self.session.job, text, kept=self.session.kept),
                    }
                )

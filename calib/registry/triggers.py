"""The database itself refuses what the registry must never do, whichever program asks.

One guard is one sentence and one condition on the OLD and NEW row; it is written out for SQLite
and for PostgreSQL. The sentence begins with ``refused: `` so that the registry can tell its own
refusals from the database's.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection

REFUSE_FUNCTION = """
create or replace function cupledger_refuse() returns trigger language plpgsql as $$
begin
    raise exception using message = tg_argv[0];
end $$
"""


class Guards:
    """Makes guards on the tables of one database, inside the transaction of ``connection``."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.sqlite = connection.dialect.name == "sqlite"

    def prepare(self) -> None:
        """Create what all guards of this database share."""
        if not self.sqlite:
            self.connection.exec_driver_sql(REFUSE_FUNCTION)

    def on_update(self, name: str, table: str, condition: str, sentence: str) -> None:
        """Refuse an update of a row for which the condition holds (``<>`` sees null as a value)."""
        if self.sqlite:
            condition = condition.replace("<>", "is not")
        else:
            condition = condition.replace("<>", "is distinct from")
        self._write(name, table, "update", condition, sentence)

    def frozen(self, table: str, columns: Iterable[str], sentence: str) -> None:
        """Refuse any change of these columns."""
        condition = " or ".join(f"new.{column} <> old.{column}" for column in columns)
        self.on_update(f"{table}_frozen", table, condition, sentence)

    def append_only(
        self, table: str, key: tuple[str, ...], sentence: str, *, edits: bool = True
    ) -> None:
        """Refuse to delete rows, to replace them by inserting over their key, and to edit them."""
        self._write(f"{table}_kept", table, "delete", "", sentence)
        if self.sqlite:  # "insert or replace" deletes without asking a delete trigger
            same = " and ".join(f"{column} = new.{column}" for column in key)
            there = f"exists (select 1 from {table} where ({same}) or rowid = new.rowid)"
            self._write(f"{table}_not_replaced", table, "insert", there, sentence)
        else:
            self.connection.exec_driver_sql(
                f"create trigger {table}_not_emptied before truncate on {table}"
                f" for each statement execute function cupledger_refuse('refused: {sentence}')"
            )
        if edits:
            self._write(f"{table}_not_edited", table, "update", "", sentence)

    def drop(self, name: str, table: str) -> None:
        """Remove one guard, to put a wider one in its place."""
        on = "" if self.sqlite else f" on {table}"
        self.connection.exec_driver_sql(f"drop trigger {name}{on}")

    def _write(self, name: str, table: str, event: str, condition: str, sentence: str) -> None:
        when = f" when ({condition})" if condition else ""
        head = f"create trigger {name} before {event} on {table} for each row{when}"
        if self.sqlite:
            body = f" begin select raise(abort, 'refused: {sentence}'); end"
        else:
            body = f" execute function cupledger_refuse('refused: {sentence}')"
        self.connection.exec_driver_sql(head + body)


def missing_guards(connection: Connection) -> list[str]:
    """The guards of the present schema that are not there, or are switched off."""
    sqlite = connection.dialect.name == "sqlite"
    query = (
        "select name from sqlite_master where type = 'trigger'"
        if sqlite
        else "select tgname from pg_trigger where not tgisinternal and tgenabled <> 'D'"
    )
    there = {row[0] for row in connection.exec_driver_sql(query)}
    kept = ("apparatus", "audit", "constants", "cupledger_schema", "result_constants", "results")
    expected = {f"{table}_kept" for table in kept}
    expected |= {f"{table}_not_{'replaced' if sqlite else 'emptied'}" for table in kept}
    expected |= {f"{table}_not_edited" for table in kept if table not in {"apparatus", "constants"}}
    expected |= {"apparatus_frozen", "apparatus_told"}
    expected |= {f"constants_{what}" for what in ("frozen", "status", "dates")}
    return sorted(expected - there)

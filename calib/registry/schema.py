"""The tables as SQLAlchemy reads and writes them, made from the declarations in columns.py.

Days are read as they stand: text that is no date comes out as the text it is, for the check of
rows to name, where SQLAlchemy's own type would end the whole query.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import BigInteger, Date, Dialect, Float, ForeignKey, MetaData, Table, Text
from sqlalchemy import Column as TableColumn
from sqlalchemy.types import TypeDecorator, TypeEngine

from calib.registry.columns import TABLES, Column
from calib.registry.validation import as_day

NAMES = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "ix": "ix_%(table_name)s_%(column_0_name)s",
}
metadata = MetaData(naming_convention=NAMES)


class Day(TypeDecorator[date]):
    """A date; on SQLite the text YYYY-MM-DD, given back as it stands where it is no date."""

    impl = Date
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Text on SQLite, a date elsewhere."""
        return dialect.type_descriptor(Text() if dialect.name == "sqlite" else Date())

    def process_bind_param(self, value: Any, dialect: Dialect) -> Any:
        """A date as the database takes it."""
        return value.isoformat() if dialect.name == "sqlite" and value is not None else value

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        """A date where it is one."""
        found = as_day(value)
        return value if found is None else found


def _type(column: Column) -> TypeEngine[Any]:
    if column.kind == "day":
        return Day()
    if column.kind == "number":
        return Float(53)
    return BigInteger() if column.kind in {"count", "link"} else Text()


def _column(column: Column) -> TableColumn[Any]:
    keys = column.key.split()
    links = [ForeignKey(key) for key in keys if "." in key]
    return TableColumn(
        column.stored,
        _type(column),
        *links,
        primary_key="primary" in keys,
        unique=True if "unique" in keys else None,
        nullable=column.null,
        quote=True if column.stored == "by" else None,
    )


def _table(name: str) -> Table:
    return Table(name, metadata, *map(_column, TABLES[name]))


versions = _table("cupledger_schema")
apparatus = _table("apparatus")
constants = _table("constants")
audit = _table("audit")
results = _table("results")
result_constants = _table("result_constants")

"""The declarative base of every table."""

from sqlalchemy import MetaData
from sqlalchemy.orm import DeclarativeBase

# Unnamed constraints can't be altered on SQLite, so every one gets a name that depends on nothing but its columns.
NAMING_CONVENTION = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

metadata = MetaData(naming_convention=NAMING_CONVENTION)


class Base(DeclarativeBase):
    """Every mapped class derives from this one."""

    metadata = metadata

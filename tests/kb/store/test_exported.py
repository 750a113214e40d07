from kb.store.columns import Base
from kb.store.exported import EXPORTED, LEFT_COLUMNS, LEFT_TABLES, MADE_COLUMNS, Holds

TABLES = Base.metadata.tables
BY_NAME = {table.name: table for table in EXPORTED}


def test_every_table_is_exported_or_stays_behind_for_a_reason():
    assert set(TABLES) == set(BY_NAME) | set(LEFT_TABLES)
    assert not set(BY_NAME) & set(LEFT_TABLES)
    assert all(LEFT_TABLES.values())


def test_every_column_is_exported_or_stays_behind_for_a_reason():
    for name, table in BY_NAME.items():
        exported = {column.name for column in table.columns}
        left = LEFT_COLUMNS.get(name, {})
        assert exported | set(left) == set(TABLES[name].c.keys()) - set(MADE_COLUMNS)
        assert not exported & set(left)
        assert all(left.values())
    assert set(LEFT_COLUMNS) <= set(BY_NAME)


def test_nothing_secret_is_exported():
    names = {f"{table.name}.{column.name}" for table in EXPORTED for column in table.columns}
    words = ("password", "pin_hash", "totp", "token", "secret")
    assert [name for name in names if any(word in name for word in words)] == []


def test_a_column_says_what_it_holds_and_whether_it_may_lack():
    jobs = {column.name: column for column in BY_NAME["jobs"].columns}
    assert (jobs["opened"].holds, jobs["opened"].may_lack) == (Holds.DAY, False)
    assert (jobs["scan_modules"].holds, jobs["scan_modules"].may_lack) == (Holds.WORDS, True)
    assert jobs["vehicle_odometer"].holds is Holds.NUMBER
    assert jobs["scan_none_found"].holds is Holds.YES_NO
    assert jobs["revision"].holds is Holds.WHOLE
    assert {c.name: c.holds for c in BY_NAME["history"].columns}["at"] is Holds.MOMENT


def test_a_key_finds_a_row_and_a_table_without_one_is_known_by_all_of_it():
    for table in EXPORTED:
        names = {column.name for column in table.columns}
        assert set(table.key) <= names
        assert set(table.same) <= names
    assert BY_NAME["history"].columns_but("who")[1].name == "verb"

from web.layout import table


def test_a_table_keeps_its_columns_and_a_long_cell_runs_on_below_itself():
    lines = table([("a", "one two three"), ("bb", "x")], widths=(3, 7))
    assert lines == ["a    one two", "     three", "bb   x"]

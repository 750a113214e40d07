def test_an_empty_week_is_shown_with_its_days(site):
    text = site.page("/week?week=2026-W47")
    assert "2026-11-16 to 2026-11-22" in text
    assert "Nothing this week is more than luck may do." in text


def test_a_week_that_does_not_exist_is_said_and_the_last_one_shown(site):
    text = site.page("/week?week=2026-W77", 400)
    assert "expected a week like 2026-W47" in text
    assert "jobs closed" in text

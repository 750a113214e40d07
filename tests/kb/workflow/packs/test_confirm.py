import pytest

from kb.case.model import Origin
from kb.errors import ConflictError, NotFoundError
from kb.workflow.packs.confirm import confirm_here
from tests.factories import a_case


def test_a_confirmed_case_keeps_that_it_came_from_another_shop(shop):
    shop.write(lambda unit: unit.jobs.add(a_case("P1", origin=Origin.ANOTHER_SHOP), verb="take in"))
    before = shop.store.state()
    assert shop.write(confirm_here, "P1").origin is Origin.CONFIRMED_HERE
    assert shop.get("P1").origin is Origin.CONFIRMED_HERE
    assert shop.store.state() != before
    assert [row.verb for row in shop.history("P1")] == ["take in", "confirmed here"]
    shop.write(confirm_here, "P1")
    assert len(shop.history("P1")) == 2
    assert shop.write(confirm_here, "P1", holds=False).origin is Origin.ANOTHER_SHOP


@pytest.mark.parametrize(
    "origin", [o for o in Origin if o.value not in {"another_shop", "confirmed_here"}]
)
def test_a_case_of_this_shop_cannot_be_confirmed(shop, origin):
    shop.write(lambda unit: unit.jobs.add(a_case("J1", origin=origin), verb="import"))
    with pytest.raises(ConflictError, match="this shop's own"):
        shop.write(confirm_here, "J1")
    assert shop.get("J1").origin is origin


def test_an_unknown_case_cannot_be_confirmed(shop):
    with pytest.raises(NotFoundError):
        shop.write(confirm_here, "P404")

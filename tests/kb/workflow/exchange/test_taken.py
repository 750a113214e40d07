from kb.workflow.exchange.records import Place, Refused
from kb.workflow.exchange.taken import Taken


def test_a_refusal_keeps_where_and_why():
    taken = Taken()
    taken.refuse(Place(file="a.csv", line=2), "because")
    assert taken.refused == [Refused(place=Place(file="a.csv", line=2), reason="because")]
    assert taken.added == {}

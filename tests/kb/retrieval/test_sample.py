from kb.retrieval.sample import evenly_drawn


def test_few_cases_are_all_taken_and_of_many_always_the_same():
    cases = [f"C{at:04}" for at in range(100)]
    assert evenly_drawn(cases, 100)[0] == cases
    assert evenly_drawn(cases, 100)[1].is_all
    taken, sample = evenly_drawn(cases, 30)
    assert (len(taken), sample.taken, sample.among) == (30, 30, 100)
    assert taken == sorted(set(taken))
    assert evenly_drawn(cases, 30)[0] == taken
    assert "seed" in sample.how

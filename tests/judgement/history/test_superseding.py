"""Which facts stand after corrections and withdrawals, in whatever order they arrived."""

from hypothesis import given
from hypothesis import strategies as st

from app.judgement.facts.records import fact_from_record
from app.judgement.history.superseding import can_supersede, chains, could_share_target
from tests.judgement.story import BATCH, LOT, Story


def facts(story):
    return [fact_from_record(record) for record in story.records]


def temperature(story, value, **more):
    return story.say(10.0, "water_temperature", {"value": value}, **more)


def standing(told):
    return {chain.standing.id for chain in chains(told) if chain.standing is not None}


def by_root(found):
    return sorted(found, key=lambda chain: chain.root_id)


def test_a_correction_stands_in_place_of_what_it_corrects():
    story = Story()
    first = temperature(story, 41.0)
    second = temperature(story, 14.0, supersedes_id=first)
    (chain,) = chains(facts(story))
    assert chain.standing.value == 14.0
    assert [fact.id for fact in chain.facts] == [first, second]
    assert chain.root_id == first


def test_a_withdrawn_fact_does_not_stand():
    story = Story()
    story.withdraw(11.0, temperature(story, 41.0))
    assert standing(facts(story)) == set()


def test_a_fact_of_the_same_kind_restores_what_was_withdrawn():
    story = Story()
    struck = story.withdraw(11.0, temperature(story, 41.0))
    restored = temperature(story, 41.0, supersedes_id=struck)
    assert standing(facts(story)) == {restored}


def test_what_was_restored_can_be_withdrawn_again():
    story = Story()
    struck = story.withdraw(11.0, temperature(story, 41.0))
    story.withdraw(12.0, temperature(story, 41.0, supersedes_id=struck))
    assert standing(facts(story)) == set()


def test_a_withdrawal_waits_for_its_target():
    story = Story()
    story.withdraw(11.0, "later")
    assert chains(facts(story)) == []
    temperature(story, 41.0, id="later")
    assert standing(facts(story)) == set()


def test_a_correction_whose_target_is_not_here_stands_and_belongs_to_its_chain():
    story = Story()
    temperature(story, 14.0, supersedes_id="not-here")
    (chain,) = chains(facts(story))
    assert (chain.root_id, chain.standing.value) == ("not-here", 14.0)


def test_a_restoration_stands_before_its_first_fact_arrives():
    story = Story()
    struck = story.withdraw(11.0, "not-here")
    restored = temperature(story, 41.0, supersedes_id=struck)
    assert standing(facts(story)) == {restored}
    temperature(story, 41.0, id="not-here")
    assert standing(facts(story)) == {restored}


def test_a_correction_of_another_kind_is_void():
    story = Story()
    first = temperature(story, 14.0)
    story.say(10.0, "grain_temperature", {"value": 15.0}, supersedes_id=first)
    assert standing(facts(story)) == {first}


def test_a_correction_about_something_else_is_void():
    story = Story()
    first = story.say(10.0, "inspection", {"findings": {"mould": "no"}})
    story.say(10.0, "inspection", {"findings": {"mould": "yes"}}, supersedes_id=first, subject=LOT)
    assert standing(facts(story)) == {first}


def test_a_withdrawal_takes_no_withdrawal_back():
    story = Story()
    struck = story.withdraw(11.0, temperature(story, 14.0))
    story.withdraw(12.0, struck)
    assert standing(facts(story)) == set()


def test_a_fact_supersedes_not_itself():
    story = Story()
    temperature(story, 14.0)
    (fact,) = facts(story)
    assert not can_supersede(fact, fact, fact.kind)


def test_corrections_in_a_circle_have_no_beginning_and_stand_in_no_chain():
    story = Story()
    temperature(story, 1.0, id="a", supersedes_id="b")
    temperature(story, 2.0, id="b", supersedes_id="a")
    assert chains(facts(story)) == []


@st.composite
def told_stories(draw):
    """Chains of corrections, withdrawals and restorations of one to four facts, some with parts of them missing."""
    story = Story()
    for root in range(draw(st.integers(1, 4))):
        last, is_struck = temperature(story, float(root), id=f"{root}-0"), False
        for link in range(1, draw(st.integers(1, 4))):
            fact_id = f"{root}-{link}"
            if not is_struck and draw(st.booleans()):
                last, is_struck = story.withdraw(11.0, last, id=fact_id), True
            else:
                last, is_struck = temperature(story, root + link / 10, id=fact_id, supersedes_id=last), False
    kept = draw(st.lists(st.sampled_from(story.records), min_size=1, unique_by=lambda record: record["id"]))
    return [fact_from_record(record) for record in kept]


@given(told=told_stories(), data=st.data())
def test_any_order_of_arrival_gives_the_same_chains(told, data):
    shuffled = data.draw(st.permutations(told))
    assert by_root(chains(told)) == by_root(chains(shuffled))


@given(told=told_stories())
def test_no_fact_is_in_two_chains_and_nothing_struck_out_stands(told):
    found = chains(told)
    ids = [fact.id for chain in found for fact in chain.facts]
    assert len(ids) == len(set(ids))
    assert all(each.subject == (BATCH["type"], BATCH["id"]) for chain in found for each in chain.facts)
    struck = {fact.supersedes_id for fact in told if fact.kind == "withdrawal"}
    assert not standing(told) & struck


@given(st.permutations(["a", "b", "c"]), st.data())
def test_one_that_does_not_fit_takes_no_place_from_one_that_does(ids, data):
    story = Story()
    first, fitting, void = ids
    temperature(story, 41.0, id=first)
    temperature(story, 14.0, id=fitting, supersedes_id=first)
    story.say(10.0, "grain_temperature", {"value": 14.0}, id=void, supersedes_id=first)
    told = data.draw(st.permutations(facts(story)))
    (chain,) = chains(told)
    assert [fact.id for fact in chain.facts] == [first, fitting]


def test_only_two_that_could_fit_one_fact_could_share_it():
    story = Story()
    temperature(story, 41.0, id="warm")
    temperature(story, 14.0, id="cold")
    story.say(10.0, "grain_temperature", {"value": 14.0}, id="grain")
    story.withdraw(11.0, "warm", id="struck")
    temperature(story, 14.0, id="elsewhere", subject={"type": "batch", "id": "batch-2"})
    told = {fact.id: fact for fact in facts(story)}

    def share(one, other):
        assert could_share_target(told[one], told[other]) == could_share_target(told[other], told[one])
        return could_share_target(told[one], told[other])

    assert share("warm", "cold")
    assert share("warm", "struck")
    assert not share("warm", "grain")
    assert not share("warm", "elsewhere")
    assert not share("struck", "elsewhere")

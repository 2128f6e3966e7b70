"""What a label must say."""

import pytest

from app.judgement.cautions import label_texts


@pytest.mark.parametrize("grain", ["barley", "wheat", "rye", "spelt"])
def test_grain_that_holds_gluten_is_named(grain):
    assert f"Contains gluten: {grain}." in label_texts([grain])


def test_of_other_grain_one_is_told_to_ask():
    assert "Made of sorghum: ask about gluten." in label_texts(["sorghum"])


def test_several_grains_are_each_named_once():
    assert "Contains gluten: barley and wheat." in label_texts(["wheat", "barley", "wheat"])


def test_what_else_the_house_malts_is_named_and_its_own_grain_is_not_named_again():
    said = label_texts(["sorghum"], ["sorghum", "rye", "oats", "wheat"])[1]
    assert said.endswith("Malted in a house that also malts oats, rye and wheat.")


def test_it_is_never_ready_to_eat():
    assert "Not ready to eat" in label_texts(["oats"])[0]


@pytest.mark.parametrize("grain", ["sorghum", "great millet", "jowar"])
def test_sorghum_and_its_relations_are_boiled_and_never_baked_and_nothing_is_claimed_of_their_roots(grain):
    said = " ".join(label_texts([grain]))
    assert ": boil it" in said
    assert "bake or boil" not in said
    assert "Remove all roots and shoots" in said
    assert "bake or boil" in " ".join(label_texts(["barley"]))


def test_sorghum_says_that_it_makes_prussic_acid_and_barley_says_nothing_of_it():
    assert "Prussic acid" in label_texts(["sorghum"])[2]
    assert len(label_texts(["barley"])) == 2

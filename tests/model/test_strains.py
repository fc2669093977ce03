"""What the share of another strain's blood makes of bass: formulas, and the young of one pulse, by hand."""

import numpy as np
import pytest
from laws import inputs

from pondpop.model import recruitment
from pondpop.model.day import Engine
from pondpop.model.strains import strains_of
from pondpop.species import SPECIES

BASS = SPECIES.index("bass")
FLORIDA = """
[[stocking]]
name = "florida"
species = "bass"
strain = "florida"
resident = true
per_acre = 20
length_in = 13
"""


@pytest.fixture
def strains():
    of = inputs(FLORIDA, members=1)
    (made,) = strains_of(of, np.full((of.days, 1), 20.0))
    return made


def test_strains_are_worked_out_where_another_than_the_own_is_stocked(strains):
    assert strains.species == BASS and dict(zip(strains.names, strains.blood, strict=True)) == {
        "bass": 0.0, "first_cross": 0.5, "florida": 1.0,
    }  # fmt: skip
    plain = inputs("", members=1)
    assert strains_of(plain, np.full((plain.days, 1), 20.0)) == ()


def test_fish_of_mixed_blood_lie_on_straight_lines_between_the_strains(strains):
    strains.see(np.array([[0.0, 0.25, 0.5, 0.9, 1.0]]))
    np.testing.assert_allclose(strains.of_groups(np.array([[2.0, 6.0, 4.0]])), [[2.0, 4.0, 6.0, 4.4, 4.0]])


def test_young_florida_bass_eat_less_and_the_grown_eat_alike(strains):
    strains.see(np.array([[0.0, 1.0]]))
    young = strains.intake(None)
    assert young[0, 0] == 1.0 and young[0, 1] == strains.parameters.strain_intake[0, strains.names.index("florida")] < 1.0
    np.testing.assert_allclose(strains.intake(np.zeros((1, 2))), young)
    np.testing.assert_allclose(strains.intake(np.full((1, 2), 0.5)), np.sqrt(young))
    assert strains.intake(np.ones((1, 2))).tolist() == [[1.0, 1.0]]


@pytest.mark.parametrize(("ready", "blood"), [((1, 0, 0), 0.0), ((0, 0, 1), 1.0), ((1, 0.5, 1), None)])
def test_young_have_the_blood_of_the_parents_that_are_ready(ready, blood):
    """Ready are northern bass alone, Florida bass alone, or all alike, when it is their share of the weight that can spawn."""
    pond = Engine(inputs(FLORIDA.replace("13", "14"), members=1))
    pond.run_day()
    ((strains, counters),) = recruitment.counters_of_strains(pond)
    assert len(counters) == len(strains.names) and counters[0] == len(pond.community)
    pond.by_day.pulse_due[pond.day] = True
    pond.state.spawn_gathered[:, counters] = 9.0 * np.array(ready)
    found = recruitment.pulse(pond, BASS)
    assert found.counters == counters and found.young.item() > 0.0
    bass, columns = pond.slices[BASS], pond.state.columns
    if blood is None:
        blood = np.average(columns.blood[0, bass], weights=pond.state.biomass(bass)[0])
        assert 0.53 < blood < 0.6  # as many Florida bass, but longer ones
        assert found.blood.item() == pytest.approx(blood, abs=0.01)
    else:
        assert found.blood.item() == pytest.approx(blood)
    gain = found.parents_gain[0]
    assert (gain[columns.blood[0, bass] == 1.0] < 0.0).any() == bool(ready[2])


def test_beside_northern_bass_those_of_florida_put_on_less_when_young_and_become_longer():
    fry = FLORIDA.replace("13", "4")
    pond = Engine(inputs(fry + fry.replace("florida", "northern"), members=1))
    for _ in range(9):
        pond.run_day()
    bass, s = pond.slices[BASS], pond.state
    small, blood = np.exp(s.log_length[0, bass]) < 150.0, s.columns.blood[0, bass]
    florida, northern = small & (blood == 1.0), small & (blood == 0.0)
    assert florida.sum() == northern.sum() > 1
    assert (s.log_weight[0, bass][florida] < s.log_weight[0, bass][northern] - 1e-3).all()
    (strains,) = pond.strains
    longer = pond.group.log_asymptotic_length[0, bass][florida] - pond.group.log_asymptotic_length[0, bass][northern]
    np.testing.assert_allclose(np.exp(longer), strains.parameters.strain_length[0, strains.names.index("florida")])


def test_florida_bass_are_caught_less_than_northern_ones_and_as_many_are_taken_as_asked():
    rule = '[[strategies.few.harvest]]\nspecies = "bass"\nlength_in = [8, 13.5]\nshare = 0.5\nseason = ["01-01", "12-31"]\n'
    text = FLORIDA.replace("13", "14")  # so that other shares of the strains are within the window
    taken, left = {}, {}
    for name, extra in {"mixed": text + rule, "northern": text.replace('"florida"', '"northern"') + rule, "not": text}.items():
        pond = Engine(inputs(extra, members=1))
        for _ in range(2):
            pond.run_day()
        taken[name], left[name] = pond.flows.harvest_number[0, BASS], pond.state.number[0, pond.slices[BASS]]
        if name == "mixed":
            catching = pond.strains[0].parameters.strain_catching[0, pond.strains[0].names.index("florida")]
            inside = pond.longer(pond.slices[BASS], 203.2) - pond.longer(pond.slices[BASS], 342.9)
            blood = pond.state.columns.blood[0, pond.slices[BASS]]
    assert taken["mixed"] == pytest.approx(taken["northern"], rel=2e-3) and taken["not"] == 0.0
    died = np.log(left["not"] / left["mixed"]) / inside[0]
    assert died[blood == 1.0].mean() == pytest.approx(catching * died[blood == 0.0].mean(), rel=0.02)

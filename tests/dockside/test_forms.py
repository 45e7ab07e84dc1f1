"""The entry forms say what the contracts say."""

import dataframely as dy
import pytest

from ringland.contracts.decision_tables import HullJobs
from ringland.dockside.entries import RECORDED
from ringland.dockside.forms import FORMS, Form, fields_of
from ringland.dockside.offers import known_of
from ringland.dockside.roles import DOCK_HAND, Person, scope_of
from tests.dockside.small_shop import shop

NILS = Person("n", "Nils", DOCK_HAND, dock="north")


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_every_column_of_the_contract_can_be_written_once(form: Form) -> None:
    asked = [one.name for part in fields_of(form) for one in part]

    written = [*asked, *form.given, *form.each, RECORDED]
    columns = form.record_kind.schema.column_names()
    assert sorted(written) == sorted({*columns, RECORDED})


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_what_must_not_be_empty_is_asked_at_once_but_the_time_that_is_now(form: Form) -> None:
    _, _, folded = fields_of(form)

    assert [one.name for one in folded if one.is_required] == []
    column = form.record_kind.schema.columns()[form.at or RECORDED]
    assert isinstance(column, dy.Datetime)


def test_limits_and_choices_are_those_of_the_contract() -> None:
    first, _, _ = fields_of(FORMS["fill"])
    by_name = {one.name: one for one in first}

    assert (by_name["volume_l"].low, by_name["volume_l"].high) == (0.1, 400)
    assert by_name["source"].choices == ("dock", "outside")
    assert by_name["hull_id"].names == "hulls"


def test_a_form_offers_the_last_values_of_hulls_in_scope_and_knows_no_other() -> None:
    ground = shop()
    jobs = HullJobs.create_empty()

    known = known_of(FORMS["fill"], ground, scope_of(NILS, ground), NILS, jobs)

    assert known["last"] == {"A1": {"source": "outside", "octane_aki": "91.0"}}
    assert sorted(known["hulls"]) == ["A1", "A2"]
    assert known["hulls"]["A1"] == {"dock": "north", "engine": "E3", "cylinders": 3, "meter": None}
    assert (known["docks"], sorted(known["engines"])) == (["north"], ["E2", "E3"])

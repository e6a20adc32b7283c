"""Labels: a code for good, the same on every reprint, and another one after it was withdrawn."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from readiness.actions.drafts import Refused
from readiness.actions.labels import MOST, print_labels, withdraw_label
from readiness.engineering.label_codes import is_code
from readiness.models import Change, Label, Role
from tests.cast import CLOCK, SIX, Cast, ContainerFactory
from tests.judged import Rigged


def printed(cast: Cast, *things):
    return print_labels(cast.department, things=things, acting=cast.acting(Role.LOGISTICS), clock=CLOCK)


def test_each_thing_gets_a_code_of_its_own_and_keeps_it(cast):
    rig = Rigged(cast, pails=2)
    things = [rig.pails[0], rig.line, cast.vehicle, cast.unit, rig.pails[1]]
    labels = printed(cast, *things)
    assert [label.container or label.line or label.vehicle or label.unit for label in labels] == things
    assert all(is_code(label.code) for label in labels)
    assert len({label.code for label in labels}) == 5
    again = printed(cast, *reversed(things))
    assert [label.code for label in again] == [label.code for label in reversed(labels)]
    assert set(Label.objects.values_list("printed_at", flat=True)) == {SIX}
    given = Change.objects.filter(action="give label")
    assert given.count() == 5, "a reprint gives nothing"
    assert given.first().new == {"code": labels[0].code, "container": rig.pails[0].pk}


def test_the_same_thing_twice_on_a_sheet_has_one_code(cast):
    pail = cast.pail()
    first, second = printed(cast, pail, pail)
    assert first.code == second.code
    assert Label.objects.count() == 1


def test_a_withdrawn_code_stays_known_and_the_thing_gets_another(cast):
    pail = cast.pail()
    (label,) = printed(cast, pail)
    officer = cast.acting(Role.OFFICER)
    withdraw_label(cast.department, label=label, reason=" on the  wrong pail", acting=officer, clock=CLOCK)
    label.refresh_from_db()
    assert (label.withdrawn_at, label.withdrawn_by, label.reason) == (SIX, officer.user, "on the wrong pail")
    assert Change.objects.latest("id").new == {"reason": "on the wrong pail"}
    (other,) = printed(cast, pail)
    assert other.code != label.code
    with pytest.raises(Refused, match="withdrawn already: on the wrong pail"):
        withdraw_label(cast.department, label=label, reason="again", acting=officer, clock=CLOCK)


def test_what_is_refused_leaves_nothing(cast):
    pail, foreign = cast.pail(), ContainerFactory(department=cast.other_department)
    for things, words in (((), "0 things"), ([pail] * (MOST + 1), "1001 things"), ([pail, foreign], "is not Quay")):
        with pytest.raises(Refused, match=words):
            printed(cast, *things)
    (label,) = printed(cast, pail)
    with pytest.raises(Refused, match="No reason"):
        withdraw_label(cast.department, label=label, reason="  ", acting=cast.acting(Role.CHIEF), clock=CLOCK)
    assert Label.objects.get().withdrawn_at is None


def test_the_database_refuses_two_labels_on_a_thing_and_one_on_two(cast):
    pail = cast.pail()
    printed(cast, pail)
    common = {"department": cast.department, "made_at": SIX}
    for wrong in ({"container": pail}, {"container": cast.pail(), "unit": cast.unit}, {}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Label.objects.create(code="7KM4R44", **common, **wrong)


def test_many_labels_take_no_more_queries_but_for_batches(cast, django_assert_max_num_queries):
    few, many = ([cast.pail() for _ in range(count)] for count in (2, 40))
    with django_assert_max_num_queries(14):
        printed(cast, *few)
    with django_assert_max_num_queries(14):
        printed(cast, *many)

"""The likeliest causes, in order, from the set-up of the column and from closed tickets."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.cautions import Work
from fleet.compute.results import Risk
from service.compute.watch import (
    CAUSES,
    Case,
    CauseCode,
    CauseCounts,
    ColumnFacts,
    Kind,
    code_of,
    rank,
    signs_of,
    was_true,
)
from service.compute.watch.missing import Nature
from service.compute.watch.priors import priors_of
from service.compute.watch.signs import SIGNS

WRONG_PROGRAM = ColumnFacts(
    deep_loaded=2,
    deep_programmed=1,
    program_risk=Risk.TWO_FOR_ONE,
    play_rear_mm=7.0,
    least_play_mm=6.35,
    most_play_mm=19.05,
    package_length_mm=212,
    chart_length_mm=212,
    days_since_changeover=5,
    test_vends_made=6,
    test_vends_passed=6,
    nature=Nature.STEADY,
)
SHORT_PACKAGE = dataclasses.replace(
    WRONG_PROGRAM,
    deep_programmed=2,
    program_risk=Risk.NONE,
    package_length_mm=198,
    play_rear_mm=21.0,
)


def first(kind: Kind, facts: ColumnFacts, *cases: Case) -> CauseCode:
    return rank(kind, facts, CauseCounts.of(cases))[0].code


class TestSetUp:
    def test_a_program_that_lets_a_second_product_follow_comes_first(self) -> None:
        likely = rank(Kind.TWO_FOR_ONE, WRONG_PROGRAM)[0]
        assert likely.code is CauseCode.DEPTH_PROGRAM
        assert likely.why[0] == "at this load its depth program lets a second product follow"
        assert "programmed 1 deep and loaded 2 deep" in likely.why
        assert likely.check_first.startswith("Compare the selection's depth program")
        assert likely.work is Work.CHANGEOVER

    def test_a_package_shorter_than_the_setting_comes_first(self) -> None:
        likely = rank(Kind.TWO_FOR_ONE, SHORT_PACKAGE)[0]
        assert likely.code is CauseCode.PACKAGE_SHORT
        assert likely.why[0] == (
            "the product is 198 mm long, 14 mm shorter than the one the setting was made for"
        )

    def test_a_column_that_binds(self) -> None:
        facts = ColumnFacts(play_rear_mm=2.0, least_play_mm=6.35, days_since_changeover=4)
        likely = rank(Kind.SILENT, facts)[0]
        assert likely.code is CauseCode.PLAY_TOO_SMALL
        assert "the play is 2.0 mm, where 6.3 mm is the least" in likely.why

    def test_a_column_that_was_set_long_ago_is_not_set_wrongly(self) -> None:
        fresh = {
            one.code: one.weight
            for one in rank(Kind.SILENT, ColumnFacts(days_since_changeover=3), most=40)
        }
        old = {
            one.code: one.weight
            for one in rank(Kind.SILENT, ColumnFacts(days_since_changeover=300), most=40)
        }
        assert fresh[CauseCode.DEPTH_PROGRAM] > 3 * old.get(CauseCode.DEPTH_PROGRAM, 0)

    def test_what_speaks_against_a_cause_is_told_too(self) -> None:
        likely = {one.code: one for one in rank(Kind.TWO_FOR_ONE, SHORT_PACKAGE, most=40)}
        assert likely[CauseCode.DEPTH_PROGRAM].why == (
            "changed over 5 days ago",
            "the units go with the vends, interval by interval",
            "but it is programmed as deep as it is loaded",
            "but its depth program stops in time for this load",
        )

    def test_what_speaks_for_one_cause_is_no_word_against_another(self) -> None:
        likely = {one.code: one for one in rank(Kind.TWO_FOR_ONE, SHORT_PACKAGE, most=40)}
        told = likely[CauseCode.SPACER].why
        assert not any("198 mm" in said for said in told)

    def test_units_gone_at_once_were_not_vended_two_for_one(self) -> None:
        facts = ColumnFacts(nature=Nature.AT_ONCE, neighbour_mirrors=True)
        assert first(Kind.MISSING, facts) is CauseCode.WRONGLY_FILLED


class TestMachine:
    @pytest.mark.parametrize(
        ("kind", "events", "cause"),
        [
            (Kind.SILENT, ("EJL",), CauseCode.DROP_SENSOR),
            (Kind.SILENT, ("EJB",), CauseCode.MOTOR),
            (Kind.EVENT, ("EAG",), CauseCode.COIN_PATH),
            (Kind.EVENT, ("END",), CauseCode.NOTE_PATH),
            (Kind.EVENT, ("OBK",), CauseCode.TUBES_LOW),
            (Kind.EVENT, ("EOM",), CauseCode.COOLING),
            (Kind.EVENT, ("OCF",), CauseCode.POWER_AT_SITE),
            (Kind.WARM, ("EOI",), CauseCode.FAN),
        ],
    )
    def test_what_the_machine_reports_comes_first(
        self, kind: Kind, events: tuple[str, ...], cause: CauseCode
    ) -> None:
        assert first(kind, ColumnFacts(events=events)) is cause

    def test_a_kind_without_a_drop_sensor_has_none_that_is_dirty(self) -> None:
        found = rank(Kind.SILENT, ColumnFacts(has_drop_sensor=False), most=40)
        assert CauseCode.DROP_SENSOR not in {one.code for one in found}

    def test_a_site_that_is_closed(self) -> None:
        facts = ColumnFacts(machine_silent_part=0.9, site_closed=True)
        assert first(Kind.SILENT, facts) is CauseCode.SITE_CLOSED

    def test_a_condenser_that_is_due(self) -> None:
        facts = ColumnFacts(days_since_condenser=160, still_warm=True)
        likely = rank(Kind.WARM, facts)[0]
        assert likely.code is CauseCode.CONDENSER
        assert "its condenser was cleaned 160 days ago" in likely.why
        assert likely.work is Work.REFRIGERATION

    def test_cash_that_one_person_handled_is_a_matter_for_the_owner(self) -> None:
        likely = {one.code: one for one in rank(Kind.CASH, ColumnFacts(one_person=True))}
        assert "It accuses nobody" in likely[CauseCode.SHORT_CASH].check_first


class TestHistory:
    def test_what_closed_such_tickets_before_moves_up(self) -> None:
        facts = ColumnFacts()
        place = []
        for many in (0, 3, 12, 60):
            order = [
                one.code
                for one in rank(
                    Kind.SILENT,
                    facts,
                    CauseCounts.of([Case(CauseCode.SPACER)] * many),
                    most=40,
                )
            ]
            place.append(order.index(CauseCode.SPACER))
        assert place == sorted(place, reverse=True)
        assert place[0] > 5
        assert place[-1] == 0

    def test_it_says_how_many_cases(self) -> None:
        history = CauseCounts.of([Case(CauseCode.MOTOR)] * 4 + [Case(CauseCode.SPACER)] * 3)
        likely = {one.code: one for one in rank(Kind.SILENT, ColumnFacts(), history)}
        motor = likely[CauseCode.MOTOR]
        assert (motor.cases, motor.cases_in_all) == (4, 7)
        assert motor.cases_said == "4 of 7 such tickets closed so"
        assert motor.why == ("4 of 7 such tickets closed so",)

    def test_without_cases_it_says_that_it_is_common_practice(self) -> None:
        likely = rank(Kind.SILENT, ColumnFacts())[0]
        assert likely.cases_said == "no such ticket has closed yet; the order is common practice"

    def test_the_same_column_counts_more_than_the_fleet(self) -> None:
        fleet = CauseCounts.of([Case(CauseCode.PRODUCT_STUCK)] * 20)
        own = CauseCounts.of([Case(CauseCode.MOTOR)] * 4)
        plain = rank(Kind.SILENT, ColumnFacts(), fleet)[0].code
        with_own = rank(Kind.SILENT, ColumnFacts(), fleet, same_column=own)[0].code
        assert (plain, with_own) == (CauseCode.PRODUCT_STUCK, CauseCode.MOTOR)

    def test_the_same_kind_of_machine_counts_more_than_the_fleet(self) -> None:
        fleet = CauseCounts.of([Case(CauseCode.PRODUCT_STUCK)] * 20)
        same = CauseCounts.of([Case(CauseCode.DROP_SENSOR)] * 12)
        likely = rank(Kind.SILENT, ColumnFacts(), fleet, same_kind=same)[0]
        assert likely.code is CauseCode.DROP_SENSOR

    def test_a_cause_nobody_thought_of_is_learned(self) -> None:
        history = CauseCounts.of([Case(CauseCode.LAMP)] * 9)
        assert CauseCode.LAMP not in priors_of(Kind.SILENT)
        found = rank(Kind.SILENT, ColumnFacts(), history)
        assert CauseCode.LAMP in {one.code for one in found}

    def test_a_sign_that_went_with_a_cause_is_learned(self) -> None:
        """Columns that were just visited turned out wrongly priced, time and again."""
        facts = ColumnFacts(days_since_visit=1)
        signs = signs_of(facts)
        assert signs == {"just_visited": True}
        usual = [Case(CauseCode.PRODUCT_STUCK, {"just_visited": False})] * 20
        told = usual + [Case(CauseCode.WRONGLY_PRICED, signs)] * 15
        plain = usual + [Case(CauseCode.WRONGLY_PRICED)] * 15
        weights = [
            {one.code: one.weight for one in rank(Kind.SILENT, facts, CauseCounts.of(cases))}
            for cases in (plain, told)
        ]
        assert weights[1][CauseCode.WRONGLY_PRICED] > weights[0][CauseCode.WRONGLY_PRICED]

    def test_counts_do_not_heed_the_order_of_cases(self) -> None:
        cases = [Case(CauseCode.MOTOR, {"just_visited": True}), Case(CauseCode.SPACER)]
        assert CauseCounts.of(cases) == CauseCounts.of(reversed(cases))


class TestWhole:
    @given(st.sampled_from(Kind), st.integers(0, 30), st.sampled_from(CauseCode))
    def test_weights_are_shares(self, kind: Kind, many: int, cause: CauseCode) -> None:
        found = rank(kind, WRONG_PROGRAM, CauseCounts.of([Case(cause)] * many), most=50)
        weights = [one.weight for one in found]
        assert weights == sorted(weights, reverse=True)
        assert 0.5 < sum(weights) <= 1 + 1e-9

    @pytest.mark.parametrize("kind", Kind)
    def test_every_kind_has_causes_with_something_to_check(self, kind: Kind) -> None:
        found = rank(kind, ColumnFacts())
        assert len(found) >= 3
        assert all(one.check_first and one.words and one.why for one in found)
        assert sum(priors_of(kind).values()) == pytest.approx(1)

    def test_every_cause_has_words(self) -> None:
        assert set(CAUSES) == set(CauseCode)

    def test_signs_that_are_not_known_say_nothing(self) -> None:
        assert signs_of(ColumnFacts()) == {}
        assert len({sign.code for sign in SIGNS}) == len(SIGNS)

    @pytest.mark.parametrize("sign", SIGNS, ids=lambda sign: sign.code)
    def test_a_sign_is_likelier_or_rarer_under_its_causes(self, sign: object) -> None:
        for cause, chance in sign.under.items():  # type: ignore[attr-defined]
            assert 0 < chance < 1
            assert chance != sign.usual, cause  # type: ignore[attr-defined]

    def test_of_signs_that_say_the_same_only_the_first_counts(self) -> None:
        one = dataclasses.replace(WRONG_PROGRAM, deep_programmed=None, deep_loaded=None)
        alone = rank(Kind.TWO_FOR_ONE, one)[0].weight
        both = rank(Kind.TWO_FOR_ONE, WRONG_PROGRAM)[0].weight
        assert both == pytest.approx(alone)

    def test_words_of_the_business_are_another_cause(self) -> None:
        assert code_of("gremlins") is CauseCode.OTHER
        assert code_of("spacer") is CauseCode.SPACER

    @pytest.mark.parametrize(
        ("code", "true"),
        [("spacer", True), ("no_fault", False), ("truly_sold_out", False), ("gremlins", None)],
    )
    def test_whether_a_finding_was_right(self, code: str, true: bool | None) -> None:
        assert was_true(code) is true

"""The catalogue: every shipped case loads; a user's own file costs only itself."""

from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.loader import parse_case
from leverproof.cases.model import BASES, WHATS
from leverproof.errors import InputError, UsageError

SHIPPED = load_catalogue()


def test_every_shipped_case_loads() -> None:
    assert SHIPPED.problems == ()
    assert len(SHIPPED.cases) >= 25
    assert {case.id for case in SHIPPED.cases} == set(SHIPPED.texts)
    for case in SHIPPED.cases:
        assert Path(case.path).stem == case.id
        assert case.subject in SHIPPED.ladder
        assert all(j.basis in BASES and j.what in WHATS and j.source.strip() for j in case.judgements)
        assert case.applies.lost


def test_a_folder_of_shipped_cases_is_one_subject() -> None:
    subjects = {(Path(case.path).parent.name, case.subject) for case in SHIPPED.cases}
    assert len(subjects) == len({folder for folder, _ in subjects}) == len(SHIPPED.ladder)


def test_shipped_cases_use_every_kind_of_judgement() -> None:
    assert {j.what for case in SHIPPED.cases for j in case.judgements} == set(WHATS)


def test_two_equal_runs_may_differ_by_pauses_and_a_study_of_the_step_may_not() -> None:
    text = SHIPPED.texts["pause-in-the-middle"]
    assert [step.do for step in parse_case(text, "c.toml").runs[1].steps].count("pause") == 1
    moved = text.replace("throttle = 0.7", "throttle = 0.8", 1)
    study = text.replace(
        'what = "same"',
        'what = "grid_step"\ntolerance = { percent = 1, of = "range", reason = "r" }\ntime_tolerance = 2',
    )
    for other in (moved, study):
        assert other != text
        with pytest.raises(InputError, match="do not fly the same program"):
            parse_case(other, "c.toml")


def test_ladder_stands_on_subjects_that_exist_and_come_before() -> None:
    seen: list[str] = []
    for subject, below in SHIPPED.ladder.items():
        assert set(below) <= set(seen)
        seen.append(subject)


def test_loading_again_gives_the_same_case() -> None:
    for case in SHIPPED.cases:
        assert parse_case(SHIPPED.texts[case.id], case.path) == case


def test_a_broken_own_case_costs_only_itself(tmp_path: Path, sample: str) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "sample.toml").write_text(sample)
    (tmp_path / "broken.toml").write_text(sample.replace('what = "value"', 'what = "valeu"'))
    (tmp_path / "twice.toml").write_text(SHIPPED.texts["idle-speed"])
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    (tmp_path / "readme.txt").write_text("not a case")
    found = load_catalogue([str(tmp_path)])
    assert len(found.cases) == len(SHIPPED.cases) + 1
    assert found.case("sample-case").path.endswith("deep/sample.toml")
    told = [str(problem) for problem in found.problems]
    assert len(told) == 3
    assert any("binary.toml:1" in line and "UTF-8" in line for line in told)
    assert any("broken.toml:" in line and "did you mean 'value'" in line for line in told)
    assert any("twice.toml" in line and "duplicate case id 'idle-speed'" in line for line in told)


def test_a_case_asked_for_by_its_own_id_tells_what_is_wrong_with_its_file(tmp_path: Path, sample: str) -> None:
    broken = sample.replace('"sample-case"', '"own-pull"', 1).replace('what = "value"', 'what = "valeu"', 1)
    (tmp_path / "short.toml").write_text(broken, "utf-8")
    catalogue = load_catalogue([str(tmp_path)])
    assert catalogue.unread == ("own-pull",)
    with pytest.raises(InputError) as caught:
        catalogue.select(["own-pull"], [])
    assert "short.toml" in caught.value.where
    assert caught.value.hint == "did you mean 'value'?"


def test_a_broken_case_that_is_asked_for_costs_no_other_that_is(tmp_path: Path, sample: str) -> None:
    (tmp_path / "own-pull.toml").write_text("id = \n", "utf-8")
    catalogue = load_catalogue([str(tmp_path)])
    assert [c.id for c in catalogue.select(["own-*", "idle-speed"], [])] == ["idle-speed"]
    assert len(catalogue.problems) == 1


def test_a_case_that_cannot_be_found_may_be_in_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "short.toml").write_text("sublect = 1\n", "utf-8")
    catalogue = load_catalogue([str(tmp_path)])
    with pytest.raises(UsageError) as caught:
        catalogue.select(["own-pull"], [])
    assert "could not be read" in caught.value.hint
    assert "short.toml" in caught.value.hint
    assert "did you mean 'subject'?" in caught.value.hint


def test_a_folder_without_a_case_is_told(tmp_path: Path) -> None:
    (tmp_path / "readme.txt").write_text("cases to come", "utf-8")
    (problem,) = load_catalogue([str(tmp_path)]).problems
    assert problem.message == "no case file in this folder"
    assert str(tmp_path) in problem.where


def test_two_own_cases_of_one_id(tmp_path: Path, sample: str) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text(sample)
    found = load_catalogue([str(tmp_path)])
    assert [p.code for p in found.problems] == ["duplicate"]
    assert found.case("sample-case").path.endswith("a.toml")


def test_a_folder_that_leads_back_to_itself_ends(tmp_path: Path, sample: str) -> None:
    (tmp_path / "sample.toml").write_text(sample)
    (tmp_path / "again").symlink_to(tmp_path, target_is_directory=True)
    assert load_catalogue([str(tmp_path)]).problems == ()


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    found = load_catalogue([str(tmp_path / "missing")])
    assert len(found.cases) == len(SHIPPED.cases)
    assert [p.code for p in found.problems] == ["folder"]


def test_selection_by_pattern_and_subject() -> None:
    idle = SHIPPED.select(["idle-*"], [])
    assert {c.id for c in idle} == {"idle-speed", "idle-at-height", "idle-fuel-flow"}
    assert {c.subject for c in SHIPPED.select([], ["mixture"])} == {"mixture"}
    assert SHIPPED.select([], []) == SHIPPED.cases
    assert SHIPPED.select(["idle-*"], ["mixture"]) == ()


@pytest.mark.parametrize(
    ("patterns", "subjects", "words"),
    [(["idle-sped"], [], "'idle-speed'"), ([], ["mixtur"], "'mixture'")],
)
def test_a_selection_that_fits_nothing(patterns: list[str], subjects: list[str], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        SHIPPED.select(patterns, subjects)


def test_a_subject_whose_only_case_cannot_be_read_says_what_is_wrong_with_it(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text('format = 1\nid = "bad"\nsubject = "cold starts"\n')
    found = load_catalogue([str(tmp_path)])
    with pytest.raises(InputError, match="missing") as caught:
        found.select([], ["cold starts"])
    assert "bad.toml" in caught.value.where
    assert {case.subject for case in found.select([], ["cold starts", "idle"])} == {"idle"}
    with pytest.raises(UsageError, match="no subject 'cold start'") as mistyped:
        found.select([], ["cold start"])
    assert "bad.toml" in mistyped.value.hint


def test_case_by_id_names_the_nearest() -> None:
    assert SHIPPED.case("determinism").id == "determinism"
    with pytest.raises(UsageError, match="'determinism'"):
        SHIPPED.case("determinisms")

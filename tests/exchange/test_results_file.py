"""A filled-in walk test as it comes back: every spreadsheet's way of writing it is read, every slip has its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from raycover.errors import InputError, Problem
from raycover.exchange.results_file import read_results
from raycover.walktest.answers import Answers
from raycover.walktest.marking import code_of

HEAD = "no,x_m,y_m,z_m,move,watch,state,code,seen,remark"


def row(
    number: int, x: str, y: str, seen: str, *, code: str | None = None, move: str = "walk", remark: str = ""
) -> str:
    made = code_of(number, (float(x), float(y), 0.0), move, ()) if code is None else code
    return f"{number},{x},{y},0,{move},any,,{made},{seen},{remark}"


def read(folder: Path, *lines: str, name: str = "r.csv") -> Answers:
    path = folder / name
    path.write_text("\n".join([HEAD, *lines]) + "\n", encoding="utf-8")
    return read_results(path)


def problems(folder: Path, *lines: str) -> list[Problem]:
    with pytest.raises(InputError) as caught:
        read(folder, *lines)
    return list(caught.value.problems)


def test_answers_and_blanks(tmp_path: Path) -> None:
    found = read(tmp_path, row(1, "0.35", "-1.45", "yes"), row(2, "2.00", "1.00", "No", remark="dark"),
                 row(3, "3.00", "1.00", ""))  # fmt: skip
    assert [(a.number, a.at, a.seen, a.remark) for a in found.answers] == [
        (1, (0.35, -1.45, 0.0), True, ""), (2, (2.0, 1.0, 0.0), False, "dark")
    ]  # fmt: skip
    assert (found.n_blank, found.state) == (1, None)
    assert (found.answers[1].position.line, found.answers[1].position.column) == (3, 1)


@pytest.mark.parametrize(
    ("word", "seen"),
    [("yes", True), ("Ja", True), ("x", True), ("1", True), ("TRUE", True), ("wahr", True), ("✓", True),
     ("no", False), ("nein", False), ("0", False), ("-", False), ("FALSCH", False)],
)  # fmt: skip
def test_words_for_yes_and_no(tmp_path: Path, word: str, seen: bool) -> None:
    assert read(tmp_path, row(1, "1.00", "1.00", word)).answers[0].seen is seen


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_semicolons_decimal_commas_and_marks_of_order(tmp_path: Path, encoding: str) -> None:
    text = f"No;x_m;y_m;z_m;move;code;seen;remark\n7;3,20;−1,05;0,00;sit;{code_of(7, (3.2, -1.05, 0), 'sit', ())};ja;"
    text += '"Tür zu; ""fest"""\r\n'
    path = tmp_path / "r.csv"
    path.write_bytes(text.replace("−", "-" if encoding == "cp1252" else "−").encode(encoding))
    (answer,) = read_results(path).answers
    assert (answer.number, answer.at, answer.move, answer.seen) == (7, (3.2, -1.05, 0.0), "sit", True)
    assert answer.remark == 'Tür zu; "fest"'


def test_a_remark_of_several_lines_keeps_the_places_right(tmp_path: Path) -> None:
    found = problems(tmp_path, row(1, "1.00", "1.00", "yes", remark='"two\nlines"'), row(2, "2.00", "1.00", "maybe"))
    assert [(p.code, p.position.line, p.position.column) for p in found] == [("no-answer", 4, 31)]


def test_a_workbook(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for line in (["A title"], [], ["no", "x_m", "y_m", "seen"], [1, 2.5, 1, "yes"], [2, 3, 1, None], [3, 1, 1, False]):
        book.active.append(line)
    book.save(tmp_path / "r.xlsx")
    found = read_results(tmp_path / "r.xlsx")
    assert [(a.number, a.seen, a.at, a.position.line) for a in found.answers] == [
        (1, True, (2.5, 1.0, None), 4), (3, False, (1.0, 1.0, None), 6)
    ]  # fmt: skip
    assert found.n_blank == 1


def test_a_point_of_ones_own_needs_no_code(tmp_path: Path) -> None:
    assert read(tmp_path, "99,4.10,2.20,0,,,,,yes,").answers[0].move == "walk"


CASES = {
    "neither yes nor no": ([row(1, "1.00", "1.00", "perhaps")], ["no-answer"]),
    "no number": (["one,1.00,1.00,0,walk,any,,,yes,"], ["no-number"]),
    "no place": (["1,,1.00,0,walk,any,,,yes,"], ["no-place"]),
    "no figure": (["1,1.0O,1.00,0,walk,any,,,yes,"], ["not-a-number"]),
    "feet in a cell": (["1,3 ft 6 in,1.00,0,walk,any,,,yes,"], ["other-units"]),
    "feet all over": ([row(1, "3.28", "6.56", "yes", code=code_of(1, (1.0, 2.0, 0), "walk", ()))], ["other-units"]),
    "millimetres": ([row(1, "1000", "2000", "yes", code=code_of(1, (1.0, 2.0, 0), "walk", ()))], ["other-units"]),
    "beyond the earth": (["1,99999,1.00,0,walk,any,,,yes,"], ["too-far"]),
    "moved": ([row(1, "1.40", "2.00", "yes", code=code_of(1, (1.0, 2.0, 0), "walk", ()))], ["moved"]),
    "renumbered": ([row(2, "1.00", "2.00", "yes", code=code_of(1, (1.0, 2.0, 0), "walk", ()))], ["moved"]),
    "swapped": ([row(1, "2.00", "1.00", "yes", code=code_of(1, (1.0, 2.0, 0), "walk", ()))], ["moved"]),
    "unknown move": (["1,1.00,1.00,0,wlak,any,,,yes,"], ["unknown-move"]),
    "twice": ([row(1, "1.00", "1.00", "yes"), row(1, "1.00", "1.00", "yes")], ["same-point"]),
    "contradicted": ([row(1, "1.00", "1.00", "yes"), row(1, "1.00", "1.00", "no")], ["contradiction"]),
    "one number, two places": ([row(1, "1.00", "1.00", "yes"), row(1, "2.00", "1.00", "no")], ["same-number"]),
    "nothing filled in": ([row(1, "1.00", "1.00", ""), row(2, "2.00", "1.00", "")], ["no-answers"]),
    "two states": (["1,1,1,0,walk,any,hot,,yes,", "2,2,1,0,walk,any,cold,,yes,"], ["two-states"]),
    "decimal commas between commas": (["1,1,00,1,00,0,walk,any,,,yes,"], ["too-many-cells"]),
    "open quote": (['1,1,1,0,walk,any,,,yes,"oh'], ["open-quote"]),
    "several at once": (
        [row(1, "1.00", "1.00", "perhaps"), "two,1.00,1.00,0,fly,any,,,yes,", row(3, "x", "1.00", "no", code="")],
        ["no-answer", "no-number", "unknown-move", "not-a-number"],
    ),
}


@pytest.mark.parametrize("case", CASES, ids=str)
def test_every_slip_is_told_with_its_place(tmp_path: Path, case: str) -> None:
    lines, codes = CASES[case]
    found = problems(tmp_path, *lines)
    assert [p.code for p in found] == codes
    assert all(p.help for p in found)
    if codes != ["no-answers"]:
        assert all(p.position.line >= 2 and p.position.column >= 1 and p.position.text for p in found)


def test_swapped_axes_are_called_so(tmp_path: Path) -> None:
    (found,) = problems(tmp_path, row(1, "2.00", "1.00", "yes", code=code_of(1, (1.0, 2.0, 0), "walk", ())))
    assert "x and y are swapped" in found.message


@pytest.mark.parametrize(
    ("head", "code"),
    [("no,x_ft,y_ft,seen", "other-units"), ("no,x_m,seen", "missing-column"), ("no,x_m,y_m,sen", "missing-column"),
     ("no,x_m,y_m,seen,seen", "same-column"), ("a,b,c", "no-columns"), ("", "no-columns")],
)  # fmt: skip
def test_columns_that_are_wrong(tmp_path: Path, head: str, code: str) -> None:
    (tmp_path / "r.csv").write_text(f"{head}\n1,1,1,yes\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_results(tmp_path / "r.csv")
    assert code in [p.code for p in caught.value.problems]
    if head.endswith("sen"):
        assert 'is "sen" meant?' in caught.value.problems[0].help


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b"PK not really", b"\xff" * 40])
def test_what_is_no_table_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "r.csv").write_bytes(content)
    with pytest.raises(InputError):
        read_results(tmp_path / "r.csv")


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot read"):
        read_results(tmp_path / "missing.csv")


def test_codes_differ_and_are_no_numbers() -> None:
    codes = {code_of(n, (x, 1.0, 0.0), move, ()) for n in range(1, 30) for x in (0.0, 0.01) for move in ("walk", "sit")}
    assert len(codes) == 29 * 4
    assert all(code[0].isalpha() and len(code) == 5 for code in codes)

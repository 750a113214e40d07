"""Trouble codes with module and status, and the answer that there are none."""

import re
from dataclasses import dataclass, field, replace
from typing import Final

from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names
from kb.case.grammar.parsed import Question, Refused
from kb.case.model import Code, Scan

# SAE J2012: a letter for the system, a digit 0-3, three hexadecimal digits; from memory.
_CODE: Final = re.compile(
    r"(?<![\w.])([PBCU])( ?- ?| )?([0-3O][0-9A-FO]{3})(-[0-9A-F]{2})?(?!\w)", re.IGNORECASE
)
_UNITS_AFTER: Final = frozenset({"rpm", "psi", "kpa", "mv", "mph", "ohm", "ohms", "hz", "cca"})
_NEGATIONS: Final = frozenset({"no", "not", "without", "never"})
_WINDOW: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundCode:
    """A code with its marks; ``stop`` includes module and status beside it."""

    code: Code
    first: int
    stop: int


@dataclass(slots=True)
class FoundCodes:
    """All codes of a line, the scan, and what was asked back or refused."""

    codes: list[FoundCode] = field(default_factory=list)
    scan: Scan | None = None
    scan_marks: tuple[int, int] | None = None
    questions: list[Question] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    taken: set[int] = field(default_factory=set)


def _is_code(match: re.Match[str], text: str) -> bool:
    letter, gap, body = match[1], match[2], match[3]
    if sum(char.isdigit() for char in body) < 2:
        return False
    if gap is None:
        return True
    following = text[match.end() : match.end() + 8].split()
    if following and following[0].lower() in _UNITS_AFTER:
        return False
    before = text[max(0, match.start() - 2) : match.start()].rstrip()
    # "85 c 1200" is a temperature and a speed.
    return letter.isupper() or not (before and before[-1].isdigit())


def _marks_of(line: Line, match: re.Match[str]) -> tuple[int, int]:
    return line.at(match.start()), line.at(match.end() - 1) + 1


def _with_letter_o(match: re.Match[str]) -> str | None:
    """Return the code with zeros where the letter O was typed; None where none was."""
    body = match[3].upper()
    return match[1].upper() + body.replace("O", "0") if "O" in body else None


def _collect(line: Line, out: FoundCodes) -> None:
    for match in _CODE.finditer(line.text):
        if not _is_code(match, line.text):
            continue
        first, stop = _marks_of(line, match)
        if line.low(first - 1) in _NEGATIONS and line.same_statement(first - 1, first):
            continue
        meant = _with_letter_o(match)
        if meant:
            out.questions.append(
                Question(
                    text=match.group(), start=match.start(), end=match.end(),
                    why="the letter O where a code has the digit 0", options=(meant,),
                )
            )  # fmt: skip
        else:
            plain = f"{match[1]}{match[3]}{match[4] or ''}".upper()
            out.codes.append(FoundCode(code=Code(code=plain), first=first, stop=stop))
        out.taken.update(range(first, stop))


def _beside(line: Line, names: Names, index: int) -> tuple[str | None, str | None, int]:
    """Return module, status and the stop of what stands after a code."""
    module = status = None
    stop = index
    at = index
    while at < min(index + _WINDOW, len(line.marks)):
        if line.statement[at] != line.statement[index - 1] or line.low(at) == ",":
            break
        low = line.low(at)
        rows, size = names.modules.at(line, at)
        if low == "now" and _CODE.match(
            line.text, line.marks[min(at + 1, len(line.marks) - 1)].start
        ):
            # "P0302 now P0305" says what the first code became.
            break
        if low in names.statuses and status is None:
            status, at, stop = names.statuses[low], at + 1, at + 1
        elif rows and module is None and not _is_name_here(line, names, at):
            module, at = rows[0], at + size
            at += line.low(at) in {"module", "computer", "ecu", ")"}
            stop = at
        elif low in {"in", "from", "by", "(", "-", "code", "the", "set", "fault", ")", "and", "is"}:
            at += 1
        else:
            break
    return module, status, stop


def _is_name_here(line: Line, names: Names, index: int) -> bool:
    # "P0301 trans temp 180" names a reading, not a module.
    return names.names.at(line, index)[1] > names.modules.at(line, index)[1]


def _before(line: Line, names: Names, first: int) -> tuple[str | None, str | None]:
    """Return module and status of ``engine: P0301`` and ``pending P0301``."""
    module = status = None
    at = first - 1
    for _ in range(4):
        if at < 0 or not line.same_statement(at, first):
            break
        low = line.low(at)
        rows, _ = names.modules.at(line, at)
        if low in names.statuses and status is None:
            status = names.statuses[low]
        elif rows and module is None:
            module = rows[0]
        elif low not in {":", "code", "codes", "dtc", "dtcs", "module", "in", "has"}:
            break
        at -= 1
    return module, status


def _describe(line: Line, names: Names, out: FoundCodes) -> None:
    """Give each code its module and status; a run of codes shares those after the last one."""
    module = status = None
    for index in range(len(out.codes) - 1, -1, -1):
        found = out.codes[index]
        after = out.codes[index + 1] if index + 1 < len(out.codes) else None
        near = after is not None and _only_links(line, found.stop, after.first)
        own_module, own_status, stop = _beside(line, names, found.stop)
        lead_module, lead_status = _before(line, names, found.first)
        module = own_module or lead_module or (module if near else None)
        status = own_status or lead_status or (status if near else None)
        code = replace(found.code, module=module, status=status)
        out.codes[index] = replace(found, code=code, stop=max(stop, found.stop))
        out.taken.update(range(found.first, out.codes[index].stop))
    _spread_forward(line, out)


def _only_links(line: Line, first: int, stop: int) -> bool:
    return all(line.low(at) in {",", "and", "&", "/", "+"} for at in range(first, stop))


def _spread_forward(line: Line, out: FoundCodes) -> None:
    # "engine: P0301 P0302" names the module once.
    for index in range(1, len(out.codes)):
        last, this = out.codes[index - 1], out.codes[index]
        if this.code.module is None and _only_links(line, last.stop, this.first):
            code = replace(
                this.code, module=last.code.module, status=this.code.status or last.code.status
            )
            out.codes[index] = replace(this, code=code)


def _bare_numbers(line: Line, names: Names, out: FoundCodes) -> None:
    """Refuse ``code 301``: the letter says in which system to look."""
    for index, mark in enumerate(line.marks):
        if mark.low not in names.code_words or line.kind(index + 1) != "number":
            continue
        number = line.marks[index + 1]
        if index + 1 in out.taken or not (number.raw.isdigit() and 3 <= len(number.raw) <= 4):
            continue
        likely = f"P{number.raw.zfill(4)}"
        out.refused.append(
            Refused(
                text=number.raw, start=number.start, end=number.end,
                message=f"expected a code with its letter, got {number.raw}; "
                f"write {likely} if it is a powertrain code",
            )
        )  # fmt: skip
        out.taken.add(index + 1)


def _scan(line: Line, names: Names, out: FoundCodes) -> None:
    for index in range(len(line.marks)):
        rows, size = names.no_codes.at(line, index)
        if not rows:
            continue
        first, stop = index, index + size
        bare = line.low(index) == "none" and line.low(index + 1) == "found"
        if bare and not _scan_word(line, names, index):
            continue
        modules, stop = _scan_modules(line, names, stop)
        out.scan = Scan(none_found=not out.codes, modules=modules)
        out.scan_marks = (first, stop)
        out.taken.update(range(first, stop))
        return
    _scanned_with_codes(line, names, out)


def _scan_word(line: Line, names: Names, index: int) -> bool:
    words = names.scanned | names.code_words
    return any(
        line.low(at) in words and line.same_statement(at, index)
        for at in range(max(0, index - 4), index)
    )


def _scan_modules(line: Line, names: Names, stop: int) -> tuple[tuple[str, ...], int]:
    """Return the modules of ``no codes in engine, abs``."""
    modules: list[str] = []
    at = stop
    if line.low(at) in {"stored", "found", "set", "present"}:
        at, stop = at + 1, at + 1
    if line.low(at) not in {"in", "from", "(", ":"}:
        return (), stop
    at += 1
    while at < len(line.marks):
        rows, size = names.modules.at(line, at)
        if rows:
            modules.append(rows[0])
            at += size
            stop = at
        elif line.low(at) in {",", "and", "/", "&", "module", "or", "the"}:
            at += 1
        else:
            break
    return tuple(modules), stop


def _scanned_with_codes(line: Line, names: Names, out: FoundCodes) -> None:
    for index, mark in enumerate(line.marks):
        if mark.low in names.scanned and out.codes:
            modules = tuple(dict.fromkeys(c.code.module for c in out.codes if c.code.module))
            out.scan = Scan(none_found=False, modules=modules)
            out.scan_marks = (index, index + 1)
            return


def read_codes(line: Line, names: Names) -> FoundCodes:
    """Return the codes of a line, each with its marks, module and status."""
    out = FoundCodes()
    _collect(line, out)
    _describe(line, names, out)
    _bare_numbers(line, names, out)
    _scan(line, names, out)
    return out

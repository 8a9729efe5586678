"""A game's own header: it compiles without a warning everywhere; its mistakes are found by C or else by the PC."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from analysis.models.data import Tunable
from analysis.tuning.c_header import header_text
from ingest.study.store import import_log, open_study
from ingest.vocabulary import EventRole, FieldRole, FieldType, StageKind, TunableRole
from ingest.wire.dictionary import Dictionary
from ingest.wire.dictionary_text import parse
from tests.bench.recorder import shooter
from tests.ingest.studies import rows
from tests.needs import need
from tests.recorder.native import RECORDER, compiler

BENCH = Path(shooter.__file__).parent

HEADER = """
#include "playlog.h"
#define LOG_GAME "Moth Run"
#define LOG_FIRMWARE "1.0"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128
#define LOG_KINDS(KIND) KIND(begin, run_start) KIND(fell, death) KIND(blink, none)
#define LOG_begin(FIELD, LABEL) FIELD(u8, who, player, none)
#define LOG_fell(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(i16, why, cause, none) LABEL(-1, "beam") LABEL(2, "wall")
#define LOG_blink(FIELD, LABEL)
#define MOST_LIVES 9
#define LOG_TUNABLES(TUNABLE)                                                      \\
    TUNABLE(lives, start_lives, 3, 1, MOST_LIVES, 1, lives, PLAYLOG_EVERYWHERE)    \\
    TUNABLE(fire, fire_period, 800, 200, 2000, 10, ms, PLAYLOG_STAGE(2) PLAYLOG_STAGE_KIND(1))
PLAYLOG_DECLARE();
"""
USES = """
PLAYLOG_DEFINE(schema);
extern const int32_t values[LOG_TUNABLE_COUNT];
const int32_t values[LOG_TUNABLE_COUNT] = LOG_VALUES;
extern void use(struct playlog *log);
void use(struct playlog *log)
{
    log_begin(log, 3);
    log_fell(log, 80, -1);
    log_blink(log);
}
"""
WARNINGS = ("-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wsign-conversion", "-Wshadow", "-Werror")
COMPILERS = [
    ("gcc", "-std=c99"),
    ("gcc", "-std=c17"),
    ("clang", "-std=c99"),
    ("g++", "-std=c++11", "-xc++"),
    ("g++", "-std=c++20", "-xc++"),
    ("clang++", "-std=c++11", "-xc++"),
    ("arm-none-eabi-gcc", "-std=c99", "-mcpu=cortex-m4", "-mthumb"),
    ("arm-none-eabi-gcc", "-std=c99", "-mcpu=cortex-m0plus", "-mthumb"),
    ("arm-none-eabi-g++", "-std=c++11", "-xc++", "-mcpu=cortex-m4", "-mthumb", "-fno-exceptions"),
]


def compiled(folder: Path, header: str, *, uses: str = USES, command: tuple[str, ...] = ()) -> tuple[bool, str]:
    """Whether a game with this header compiles, and what the compiler said."""
    (folder / "moth_log.h").write_text(header, encoding="utf-8")
    source = folder / "moth.c"
    source.write_text('#include "moth_log.h"\n' + uses, encoding="utf-8")
    command = command or (compiler(), "-std=c99")
    done = subprocess.run(
        [*command, *WARNINGS, f"-I{RECORDER}", "-c", str(source), "-o", str(folder / "moth.o")],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode == 0, done.stderr


def dictionary_text(folder: Path, header: str, include: Path = RECORDER) -> bytes:
    """The text that the console with this header sends."""
    source = folder / "text.c"
    source.write_text(
        f"#include <stdio.h>\n{header}\nPLAYLOG_DEFINE(schema);\n"
        "int main(void) { return fwrite(schema.text, 1, schema.length, stdout) != schema.length; }\n",
        encoding="utf-8",
    )
    program = folder / "text"
    command = [compiler(), "-std=c99", f"-I{RECORDER}", f"-I{include}", str(source), "-o", str(program)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return subprocess.run([str(program)], capture_output=True, check=True).stdout


@pytest.mark.parametrize("command", COMPILERS, ids=" ".join)
def test_recorder_and_game_compile_without_a_warning(command: tuple[str, ...], tmp_path: Path) -> None:
    need(shutil.which(command[0]), f"{command[0]} is not installed")
    ok, said = compiled(tmp_path, HEADER, command=(*command, "-Os"))
    assert ok, said
    done = subprocess.run(
        [*command, "-Os", *WARNINGS, "-c", str(RECORDER / "playlog.c"), "-o", str(tmp_path / "playlog.o")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("command", COMPILERS[:1] + COMPILERS[3:4], ids=" ".join)
def test_none_is_named_and_fits_its_type(command: tuple[str, ...], tmp_path: Path) -> None:
    need(shutil.which(command[0]), f"{command[0]} is not installed")
    fields = " ".join(f"FIELD({t}, v_{t}, none, none)" for t in FieldType)
    header = HEADER.replace("#define LOG_blink(FIELD, LABEL)", f"#define LOG_blink(FIELD, LABEL) {fields}")
    none = {t: f"PLAYLOG_NONE_{t.upper()}" for t in FieldType}
    uses = USES.replace("log_blink(log)", f"log_blink(log, {', '.join(none.values())})")
    # -2147483648 cannot be written so in C.
    checks = "".join(
        f"PLAYLOG_REQUIRE({name}, {name} == ({t.none + t.signed}LL - {int(t.signed)}));\n" for t, name in none.items()
    )
    ok, said = compiled(tmp_path, header, uses=uses + checks, command=command)
    assert ok, said
    wrong = checks.replace("== (255", "== (254")
    assert not compiled(tmp_path, header, uses=uses + wrong, command=command)[0]


def test_the_text_says_what_the_header_says(tmp_path: Path) -> None:
    dictionary = parse(dictionary_text(tmp_path, HEADER))
    assert (dictionary.game, dictionary.firmware, dictionary.clock_hz) == ("Moth Run", "1.0", 1000)
    assert dictionary.screen == (160, 128)
    begin, fell, blink = dictionary.kinds
    assert (begin.name, begin.role, blink.role, blink.fields) == ("begin", EventRole.RUN_START, None, ())
    x, why = fell.fields
    assert (x.name, x.type, x.role, x.unit) == ("x", FieldType.U8, FieldRole.X, "px")
    assert (why.type, why.unit, dict(why.labels)) == (FieldType.I16, None, {-1: "beam", 2: "wall"})
    lives, fire = dictionary.tunables
    assert (lives.role, lives.low, lives.high, lives.step, dict(lives.scope)) == (TunableRole.START_LIVES, 1, 9, 1, {})
    assert dict(fire.scope) == {"stage": 2, "stage_kind": StageKind.BOSS}


def test_the_benchmarks_game_is_the_same_in_c_and_python(tmp_path: Path) -> None:
    expected: Dictionary = shooter.dictionary()[0]
    assert dictionary_text(tmp_path, '#include "shooter_log.h"', BENCH) == expected.text


@pytest.mark.parametrize("macro, roles", [("EVENT", EventRole), ("FIELD", FieldRole), ("TUNABLE", TunableRole)])
def test_the_header_knows_exactly_the_roles_of_the_vocabulary(macro: str, roles: type) -> None:
    header = (RECORDER / "playlog.h").read_text(encoding="utf-8")
    found = re.search(rf"#define PLAYLOG_{macro}_ROLES\(X\)((?:.*\\\n)*.*)\n", header)
    assert found
    assert re.findall(r"X\((\w+)\)", found.group(1)) == [role.value for role in roles]  # type: ignore[attr-defined]


MISTAKES = {
    "unknown event role": ("death)", "deth)", "PLAYLOG_EVENT_ROLE_deth"),
    "unknown field role": ("x, x, px", "x, ex, px", "PLAYLOG_FIELD_ROLE_ex"),
    "unknown tunable role": ("start_lives", "begin_lives", "PLAYLOG_TUNABLE_ROLE_begin_lives"),
    "unknown type": ("u8, x", "u9, x", "playlog_u9"),
    "kind twice": ("KIND(blink, none)", "KIND(blink, none) KIND(blink, none)", "LOG_KIND_blink"),
    "kind without its fields": (
        "KIND(blink, none)",
        "KIND(blnk, none)",
        "there_is_a_define_of_LOG_blnk_with_FIELD_and_LABEL_only",
    ),
    "comma between fields": ("px) FIELD", "px), FIELD", "LOG_fell_with_FIELD_and_LABEL_only"),
    "label twice": ("LABEL(2,", "LABEL(-1,", "duplicate case value"),
    "enumerator as a label": (
        'LABEL(2, "wall")',
        'LABEL(WALL, "wall")\nenum { WALL = 2 };',
        "labels_of_fell_are_plain_numbers",
    ),
    "label with a sum": ("LABEL(2,", "LABEL(1 + 1,", "labels_of_fell_are_plain_numbers"),
    "label without a text": ('"wall"', '""', "labels_of_fell_have_a_text"),
    "clock with a product": ("LOG_CLOCK_HZ 1000", "LOG_CLOCK_HZ (10 * 100)", "clock_is_a_plain_number"),
    "screen in hexadecimal": ("WIDTH 160", "WIDTH 0xA0", "screen_is_two_plain_numbers"),
    "step that is an enumerator": ("2000, 10, ms", "2000, STEP, ms", "min_max_and_step_of_fire_are_plain_numbers"),
    "role of two tunables": (
        "#define LOG_TUNABLES(TUNABLE)",
        "#define LOG_TUNABLES(TUNABLE) TUNABLE(more, start_lives, 3, 1, 9, 1, lives, PLAYLOG_EVERYWHERE)",
        "tunables_that_hold_everywhere_have_no_role_twice",
    ),
    "field twice": ("FIELD(i16, why", "FIELD(i16, x", "x"),
    "role twice": ("why, cause", "why, x", "fields_of_fell_have_no_role_twice"),
    "ago and ahead": (
        "FIELD(u8, who, player, none)",
        "FIELD(u8, a, ago, none) FIELD(u8, b, ahead, none)",
        "fields_of_begin_are_not_both_ago_and_ahead",
    ),
    "seventeen fields": (
        "FIELD(u8, who, player, none)",
        " ".join(f"FIELD(u8, f{i}, none, none)" for i in range(17)),
        "kind_begin_has_at_most_16_fields",
    ),
    "sixty-four kinds": (
        "#define LOG_blink(FIELD, LABEL)",
        "#define LOG_blink(FIELD, LABEL)\n#undef LOG_KINDS\n#define LOG_KINDS(KIND) "
        + " ".join(f"KIND(k{i}, none)" for i in range(64))
        + "\n"
        + "\n".join(f"#define LOG_k{i}(FIELD, LABEL)" for i in range(64)),
        "has_1_to_63_kinds",
    ),
    "tunable twice": ("TUNABLE(fire,", "TUNABLE(lives,", "lives"),
    "value below its range": ("start_lives, 3", "start_lives, 0", "value_of_lives_is_between_min_and_max"),
    "value above its range": ("800, 200", "2001, 200", "value_of_fire_is_between_min_and_max"),
    "step of nothing": ("2000, 10", "2000, 0", "step_of_fire_is_positive"),
    "unknown scope": ("PLAYLOG_STAGE(2)", "PLAYLOG_STAGES(2)", "PLAYLOG_STAGES"),
    "clock too slow": ("LOG_CLOCK_HZ 1000", "LOG_CLOCK_HZ 60", "clock_is_100_to_10000000_hz"),
    "clock missing": ("#define LOG_CLOCK_HZ 1000", "", "LOG_CLOCK_HZ"),
    "screen too wide": ("WIDTH 160", "WIDTH 5000", "screen_is_1_to_4096_pixels"),
    "game without a name": ('"Moth Run"', '""', "game_and_firmware_have_names"),
    "name too long": ("blink", "b" * 33, "has_at_most_32_characters"),
    "dictionary too long": ('"beam"', '"' + "b" * 16384 + '"', "dictionary_has_at_most_16384_bytes"),
}


@pytest.mark.parametrize("old, new, said", MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_in_the_header_is_a_compile_error(old: str, new: str, said: str, tmp_path: Path) -> None:
    """And the compiler's message names it."""
    assert old in HEADER
    header = "enum { STEP = 10 };\n" + HEADER.replace(old, new)
    ok, message = compiled(tmp_path, header, uses="PLAYLOG_DEFINE(schema);\n")
    assert not ok
    assert said in message


@pytest.mark.parametrize(
    "call", ["log_fell(log, 80);", "log_fell(log, 80, 1, 2);", "log_fel(log, 80, 1);", "log_fell(log, 300, 1);"]
)
def test_a_mistake_in_a_call_is_a_compile_error(call: str, tmp_path: Path) -> None:
    """Too few or many fields, an unknown kind, a constant that does not fit."""
    ok, _ = compiled(
        tmp_path, HEADER, uses=f"extern void f(struct playlog *log); void f(struct playlog *log) {{ {call} }}"
    )
    assert not ok


REFUSED = {
    "control character in a label": ('"beam"', '"be\\tam"', "line 11", "control character"),
    "label out of the type's range": ("LABEL(2,", "LABEL(40000,", "line 12", "integer from"),
    "scope that is no number": ("PLAYLOG_STAGE(2)", "PLAYLOG_STAGE(two)", "line 15", "'two'"),
}


@pytest.mark.parametrize("old, new, line, said", REFUSED.values(), ids=REFUSED)
def test_what_c_cannot_see_the_pc_refuses(old: str, new: str, line: str, said: str, tmp_path: Path) -> None:
    """Naming the dictionary's line and what is wrong with it; all else is read."""
    assert old in HEADER
    text = dictionary_text(tmp_path, HEADER.replace(old, new))
    (refused,) = parse(text).refused
    assert line in refused and said in refused


MOVED = {
    "a gap before sequence": ("    uint8_t unused; ", "    uint8_t unused[2]; "),
    "a wider sequence": ("    uint16_t sequence;", "    uint32_t sequence;"),
    "another order": ("    uint16_t sequence;\n    uint16_t dropped;", "    uint16_t dropped;\n    uint16_t sequence;"),
    "a wider time": ("    uint32_t start; ", "    uint64_t start; "),
    "a gap behind id": ("    uint16_t nonce_or_length;", "    uint16_t gap;\n    uint16_t nonce_or_length;"),
    "a wider first": ("    uint16_t first;", "    uint32_t first;"),
}


@pytest.mark.parametrize("old, new", MOVED.values(), ids=MOVED)
def test_what_is_sent_as_it_lies_in_memory_cannot_move(old: str, new: str, tmp_path: Path) -> None:
    header = (RECORDER / "playlog.h").read_text(encoding="utf-8")
    assert header.count(old) == 1
    (tmp_path / "playlog.h").write_text(header.replace(old, new), encoding="utf-8")
    (tmp_path / "playlog.c").write_bytes((RECORDER / "playlog.c").read_bytes())
    done = subprocess.run(
        [compiler(), "-std=c99", "-c", str(tmp_path / "playlog.c"), "-o", str(tmp_path / "playlog.o")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode != 0 and "lies_as_it_is_sent" in done.stderr


UNDERSTOOD = {
    "capital letter in a name": ("why, cause", "Why, cause"),
    "number in parentheses": ("MOST_LIVES 9", "MOST_LIVES (9)"),
    "number with a suffix": ("LOG_CLOCK_HZ 1000", "LOG_CLOCK_HZ 1000u"),
    "number with a long suffix": ("LOG_CLOCK_HZ 1000", "LOG_CLOCK_HZ (1000UL)"),
    "label in parentheses": ("LABEL(-1,", "LABEL((-1),"),
}


@pytest.mark.parametrize("old, new", UNDERSTOOD.values(), ids=UNDERSTOOD)
def test_what_is_plain_the_pc_understands(old: str, new: str, tmp_path: Path) -> None:
    assert old in HEADER
    as_it_was, other = tmp_path / "as_it_was", tmp_path / "other"
    as_it_was.mkdir()
    other.mkdir()
    made = parse(dictionary_text(other, HEADER.replace(old, new)))
    assert made == parse(dictionary_text(as_it_was, HEADER)) and not made.refused


def blocks_of_the_readme() -> list[str]:
    return re.findall(r"```c\n(.*?)```", (RECORDER / "README.md").read_text(encoding="utf-8"), re.DOTALL)


# The part that the README's example knows, with a line that is fast.
DEVICE = """
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
volatile uint32_t milliseconds;
static uint32_t __get_PRIMASK(void) { return 0; }
static void __set_PRIMASK(uint32_t was) { (void)was; }
static void __disable_irq(void) {}
enum { USART_CR1_TXEIE = 0x80, USART_SR_TXE = 0x80, EMPTY = 0x100 };
static struct { volatile uint32_t CR1, SR, DR; } usart = {0, USART_SR_TXE, EMPTY}, *USART2 = &usart;
void USART2_IRQHandler(void);
static void line(void)
{
    while (usart.DR != EMPTY) {
        putchar((int)usart.DR);
        usart.DR = EMPTY;
        USART2_IRQHandler();
    }
}
static bool uart_can_take_a_byte(void) { return true; }
static void uart_write(int byte) { putchar(byte); }
"""


def what_the_example_sends(folder: Path, header: str, *, by_polling: bool = False) -> bytes:
    """Compiles the README's game with `header` as moth_log.h, runs it for a while, and returns what it wrote."""
    game = blocks_of_the_readme()[1]
    (polling,) = [block for block in blocks_of_the_readme() if block.startswith("while (uart_can")]
    if by_polling:
        game = game.replace("unlock, send, enable_interrupt}", "unlock, NULL, NULL}")
    (forever,) = re.findall(r"for \(;;\) playlog_poll\(&play\);", game)
    (folder / "moth_log.h").write_text(header, encoding="utf-8")
    (folder / "device.h").write_text(DEVICE, encoding="utf-8")
    for_a_while = (
        "int byte; (void)byte; (void)send; (void)enable_interrupt; (void)uart_can_take_a_byte; (void)uart_write;\n"
        "for (int frame = 0; frame < 1000; frame++) { milliseconds += 20; playlog_poll(&play); line();\n"
        f"{polling if by_polling else ''} }}"
    )
    source = game.replace(forever, for_a_while)
    (folder / "game.c").write_text(source, encoding="utf-8")
    program = folder / "game"
    done = subprocess.run(
        [
            compiler(),
            "-std=c99",
            "-Wall",
            "-Wextra",
            "-Werror",
            f"-I{RECORDER}",
            str(folder / "game.c"),
            str(RECORDER / "playlog.c"),
            "-o",
            str(program),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return subprocess.run([str(program)], check=True, capture_output=True).stdout


@pytest.mark.parametrize("by_polling", [False, True], ids=["by interrupt", "by polling"])
def test_the_example_of_the_readme_is_ten_lines_and_logs_what_the_analysis_asks_for(
    tmp_path: Path, by_polling: bool
) -> None:
    header = blocks_of_the_readme()[0]
    assert len(header.strip().splitlines()) <= 12
    with open_study(tmp_path / "study.duckdb") as study:
        log = tmp_path / "moth.playlog"
        log.write_bytes(what_the_example_sends(tmp_path, header, by_polling=by_polling))
        import_log(study, log)
        assert rows(study, "SELECT player, ending, deaths FROM runs") == [("P03", "game_over", 1)]
        assert rows(study, "SELECT x, y, cause FROM lives WHERE died") == [(80, 60, 1)]
        assert rows(study, "SELECT tunable, value FROM tunables") == [("lives", 3)]


@pytest.mark.parametrize(("lives", "plays_with"), [(None, 3), (5, 5)], ids=["empty", "written"])
def test_the_example_plays_with_what_setscrew_wrote(tmp_path: Path, lives: int | None, plays_with: int) -> None:
    header, _, tuned = blocks_of_the_readme()[:3]
    (line,) = re.findall(r"#define LOG_TUNABLES.*\n", header)
    known = Tunable("lives", "start_lives", 3, 1, 9, 1, "lives")
    written = (
        ""
        if lives is None
        else header_text(
            [known],
            {"lives": lives},
            "Moth Run",
            "1.0",
            "abc",
            "2026-01-02",
            "values set by hand",
            "SETSCREW_MOTH_TUNED_H",
        )
    )
    (tmp_path / "moth_tuned.h").write_text(written, encoding="utf-8")
    with open_study(tmp_path / "study.duckdb") as study:
        log = tmp_path / "moth.playlog"
        log.write_bytes(what_the_example_sends(tmp_path, header.replace(line, tuned)))
        import_log(study, log)
        assert rows(study, "SELECT tunable, value FROM tunables") == [("lives", plays_with)]


def test_the_readmes_clock_makes_a_timer_of_16_bits_longer(tmp_path: Path) -> None:
    """Five million ticks at irregular steps of up to a round less one are counted to the last."""
    source = tmp_path / "clock.c"
    source.write_text(
        "#include <stdint.h>\nstatic struct { volatile uint32_t CNT; } timer, *TIM2 = &timer;\n"
        f"{blocks_of_the_readme()[3]}\nint main(void) {{ uint32_t real = 0, step = 1;\n"
        "while (real < 5000000u) { step = (step * 7u + 3u) % 65536u; real += step; timer.CNT = real & 0xFFFFu;\n"
        "if (ticks() != real) return 1; }\nreturn 0; }\n",
        encoding="utf-8",
    )
    command = [compiler(), "-std=c99", "-Wall", "-Wextra", "-Werror", str(source), "-o", str(tmp_path / "clock")]
    made = subprocess.run(command, capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr
    assert subprocess.run([str(tmp_path / "clock")], check=False).returncode == 0

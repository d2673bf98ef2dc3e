"""What may not stand in the code of a site, and the few places where it may, with the reason."""

from __future__ import annotations

import ast
import re
import tomllib

import pytest

from tests.assurance.source import ROOT, at, calls, imports, modules

# Modules that reach another machine. Those that may look at the site's own certificate, and ask the
# virus scanner that a setting names; and the one that shuts a visitor's own connection for reading.
NETWORK = re.compile(
    r"(socket|ssl|http\.client|urllib\.request|urllib3|requests|httpx|aiohttp|ftplib|telnetlib"
    r"|poplib|imaplib|xmlrpc|paramiko)(\.|$)"
)
MAY_REACH_OUT = {
    "registry/doctor/tls.py",
    "registry/desk/scanner.py",
    "registry/slow_bodies.py",
}
# Mail goes out by Django's own backend; the desk only names the error it may raise.
MAIL = re.compile(r"smtplib(\.|$)")
MAY_NAME_MAIL = {"registry/desk/mail.py": "smtplib.SMTPException"}

DESERIALIZERS = re.compile(r"(pickle|cPickle|marshal|shelve|dill|cloudpickle|joblib|yaml)(\.|$)")
XML = re.compile(r"(xml|lxml|defusedxml|xmltodict|bs4|html5lib)(\.|$)")

# The rehearsal of a restore runs our own manage.py in a scratch folder; a PDF that somebody sent is
# taken apart in a process of its own.
MAY_START_PROGRAMS = {"registry/archive/practice.py", "registry/paper/attachment.py"}
# Drawings and sections are made by our own code from escaped values; Django's own type says so.
MAY_MARK_AS_SAFE = {
    "registry/telling/drawings.py",
    "registry/web/buyer/remembered.py",
}
# Invented dogs of the demo are drawn from a seed on purpose; nothing secret is.
MAY_DRAW_FROM_A_SEED = "registry/demo/"


def found(pattern: re.Pattern[str]) -> dict[str, set[str]]:
    """Imports that the pattern fits, by module."""
    named: dict[str, set[str]] = {}
    for name, imported in imports():
        if pattern.match(imported):
            named.setdefault(name, set()).add(imported)
    return named


def test_there_is_code_to_read() -> None:
    assert len(modules()) > 250
    assert sum(1 for _ in calls()) > 5_000


def test_nothing_calls_another_machine_but_what_settings_name() -> None:
    assert set(found(NETWORK)) == MAY_REACH_OUT
    assert found(MAIL) == {name: {word} for name, word in MAY_NAME_MAIL.items()}


def test_no_text_is_run_as_code() -> None:
    run = [at(name, call) for name, func, call in calls()
           if func in {"eval", "exec", "compile", "__import__", "builtins.eval"}]  # fmt: skip

    assert run == []


def test_nothing_is_unpacked_into_objects_of_a_senders_choice() -> None:
    assert found(DESERIALIZERS) == {}


def test_no_xml_is_read() -> None:
    assert found(XML) == {}


def test_no_shell_is_started() -> None:
    started = {
        name: [ast.unparse(word.value) for word in call.keywords if word.arg == "shell"]
        for name, func, call in calls()
        if func.startswith(("os.system", "os.popen", "os.spawn", "os.exec", "subprocess.", "pty."))
    }

    assert set(started) == MAY_START_PROGRAMS
    assert all(shell == [] for shell in started.values())


# What statements are put together from: constants of the module, placeholders as many as there are
# values, and names of our own tables and triggers. Never what somebody typed.
PUT_TOGETHER_FROM = {
    "registry/desk/decide.py": {"_CLAIM", "before"},
    "registry/desk/personal.py": {"table"},
    "registry/desk/public_states.py": {
        "_BACK", "_COLUMNS", "_MAY_COME", "_NEVER_SHOWN", "_RELEASED_COME", "_RELEASED_STAY",
        "_SET", "_STAYS", "_WAITS", "_WITHHELD", "condition",
    },
    "registry/desk/ties.py": {"_TIES", "places"},
    "registry/doctor/database.py": {"question"},
    "registry/ledger/append.py": {"insert", "update"},
    "registry/ledger/triggers.py": {"name", "on", "when"},
    "registry/ledger/walk.py": {"size"},
    "registry/queries/breeding.py": {"_NOT_RELEASED"},
    "registry/queries/mates.py": {"marks", "likes", "indexed"},
    "registry/queries/public_states.py": {"_PACKED"},
}  # fmt: skip


def test_a_statement_is_never_put_together_from_values() -> None:
    together: dict[str, set[str]] = {}
    for name, func, call in calls():
        if not func.endswith(("cursor.execute", "cursor.executemany")):
            continue
        parts = call.args[0].values if isinstance(call.args[0], ast.JoinedStr) else []
        named = {ast.unparse(p.value) for p in parts if isinstance(p, ast.FormattedValue)}
        if named or isinstance(call.args[0], ast.BinOp):
            together.setdefault(name, set()).update(named or {ast.unparse(call.args[0])})
    unbound = [at(n, c) for n, func, c in calls() if re.search(r"\.(raw|extra)$|RawSQL$", func)]

    assert together == PUT_TOGETHER_FROM
    assert unbound == []


def test_the_linter_looks_for_unsafe_code_at_every_change() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    lint = project["tool"]["ruff"]["lint"]

    assert "S" in lint["select"]
    assert not any(re.match(r"S\d", rule) for rule in lint["ignore"])


def test_a_pattern_made_of_a_word_escapes_it() -> None:
    made = []
    for name, func, call in calls():
        if not re.fullmatch(
            r"re\.(compile|sub|search|match|fullmatch|findall|split|finditer)", func
        ):
            continue
        pattern = call.args[0]
        is_constant = isinstance(pattern, ast.Constant) or (
            isinstance(pattern, ast.Name) and pattern.id == "pattern"
        )
        text = ast.unparse(pattern)
        if not is_constant and "re.escape(" not in text and not re.search(r"\{_[A-Z]+\}", text):
            made.append(at(name, call))

    assert made == []


def test_no_template_is_made_of_text() -> None:
    made = [
        at(name, call)
        for name, func, call in calls()
        if re.search(r"(^|\.)(Template|from_string|Engine|Environment\.from_string)$", func)
    ]

    assert made == []


def test_only_constants_are_format_strings() -> None:
    """A format string of a sender's could read attributes of what is put into it."""
    made = []
    for name, _func, call in calls():
        if not isinstance(call.func, ast.Attribute) or call.func.attr not in {
            "format",
            "format_map",
        }:
            continue
        owner = ast.unparse(call.func.value)
        is_constant = isinstance(call.func.value, ast.Constant)
        if not is_constant and not re.fullmatch(
            r"_[A-Z_]+(\[\w+\])?|sql|dateformat|facts\.status_address", owner
        ):
            made.append(at(name, call))

    assert made == []


def test_what_is_marked_as_safe_is_made_by_our_own_drawings() -> None:
    marked = {
        name
        for name, func, _call in calls()
        if func.split(".")[-1] in {"mark_safe", "SafeString", "SafeText", "SafeData"}
    }

    assert marked == MAY_MARK_AS_SAFE


def test_no_broken_hash_is_used() -> None:
    used = [
        at(name, call)
        for name, func, call in calls()
        if re.search(r"\b(md5|sha1|new)$", func) and func.startswith("hashlib")
    ]

    # Django's own default is SHA-1 for these.
    used += [
        at(name, call)
        for name, func, call in calls()
        if func.endswith("salted_hmac")
        and not any(
            word.arg == "algorithm" and "sha256" in ast.unparse(word) for word in call.keywords
        )
    ]
    assert used == []
    assert found(re.compile(r"(Crypto|Cryptodome|rsa|ecdsa|nacl)(\.|$)")) == {}


def test_secrets_come_from_the_systems_generator() -> None:
    drawn = {name for name, imported in imports() if imported.split(".")[0] == "random"}
    drawn |= {name for name, func, _call in calls() if re.match(r"(np|numpy)\.random\.", func)}

    assert {name for name in drawn if not name.startswith(MAY_DRAW_FROM_A_SEED)} == set()


def test_no_uuid_stands_for_a_secret() -> None:
    assert found(re.compile(r"uuid(\.|$)")) == {}


def test_no_form_or_answer_takes_all_fields_of_a_table() -> None:
    """Fields are named one by one, so that a new column reaches nobody unasked."""
    taken = [
        at(name, base)
        for name, tree in modules().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
        for base in node.bases
        if re.search(
            r"\b(ModelForm|ModelSerializer|HyperlinkedModelSerializer)\b", ast.unparse(base)
        )
    ]
    dumped = [
        at(name, call)
        for name, func, call in calls()
        if func.split(".")[-1] in {"model_to_dict", "modelform_factory"}
        or any(word.arg is None and ".POST" in ast.unparse(word.value) for word in call.keywords)
    ]

    assert taken == []
    assert dumped == []


def test_every_value_has_a_type_that_is_checked() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["mypy"]
    recipe = (ROOT / "Makefile").read_text(encoding="utf-8")

    assert project["strict"] is True
    assert {"registry", "api"} <= set(project["files"])
    assert re.search(r"^test: lint types", recipe, re.MULTILINE)


# A key, a token or a password written into the source: long, and without a space.
SECRET = re.compile(
    r"""(?ix)(secret|password|token|api_?key|private_?key)\w*\s*[:=]\s*["'][A-Za-z0-9+/_\-=]{16,}["']
    |-----BEGIN\ [A-Z ]*PRIVATE\ KEY-----"""
)


@pytest.mark.parametrize("room", ["registry", "api", "deploy", "fixtures", "templates"])
def test_no_secret_stands_in_the_source(room: str) -> None:
    told = []
    for file in sorted((ROOT / room).rglob("*")):
        if file.is_file() and file.suffix in {".py", ".html", ".json", ".env", ".sh", ".txt", ""}:
            told += [
                f"{file.name}: {hit.group(0)[:60]}"
                for hit in SECRET.finditer(file.read_text("utf-8"))
            ]

    assert told == []

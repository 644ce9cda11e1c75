"""Strategies that several rooms share: pin tables and whole profiles, good and mutilated."""

from __future__ import annotations

from hypothesis import strategies as st
from sample_profile import FILES

from benchcheck.harness.connector.families import FAMILIES

HEADER = "wire,from,to,awg,length_m,role,cable,shield,colour,note"
DSUB = sorted(name for name in FAMILIES if name.startswith(("dsub", "hd")))

# what turns up in files: text of all kinds, separators, quotes, escapes, numbers that are none
garbage = st.one_of(
    st.text(max_size=12),
    st.text(alphabet=',;"\t\n\r#= []{}', max_size=8),
    st.sampled_from(
        ["\x1b[2J", "\u202e", "1,5", "1e999", "-1", "NaN", "P1-", "-", '"', "'", "\\", "9" * 50, "GND1-1", "P1-shell"]
    ),
)


@st.composite
def profile_files(draw: st.DrawFn) -> dict[str, str]:
    """Files of a good profile: two to five D-sub connectors without units, and runs between their contacts."""
    families = draw(st.lists(st.sampled_from(DSUB), min_size=2, max_size=5))
    harness = ["schema = 1", 'title = "Drawn"', 'chassis = "GND1"', '[[connectors]]\nref = "GND1"\nfamily = "stud"']
    contacts: list[list[str]] = []
    for number, family in enumerate(families, 1):
        ref = f"P{number}"
        gender = draw(st.sampled_from(["pin", "socket"]))
        harness.append(f'[[connectors]]\nref = "{ref}"\nfamily = "{family}"\ngender = "{gender}"')
        contacts.append([f"{ref}-{pin}" for pin in FAMILIES[family].contacts])
    rows = [HEADER]
    for number in range(draw(st.integers(0, 12))):
        a, b = draw(st.lists(st.sampled_from(range(len(contacts))), min_size=2, max_size=2))
        if not contacts[a] or not contacts[b]:
            continue
        start = contacts[a].pop(draw(st.integers(0, len(contacts[a]) - 1)))
        end = (
            contacts[b].pop(draw(st.integers(0, len(contacts[b]) - 1)))
            if contacts[b] and draw(st.booleans())
            else "GND1"
        )
        role = draw(st.sampled_from(["power", "ground", "signal", "can_h", "rs232_tx", "coax"]))
        awg = draw(st.sampled_from(["", "24", "22", "20", "00"]))
        length = draw(st.sampled_from(["", "0.5", "12", "3.25"]))
        rows.append(f"W{number},{start},{end},{awg},{length},{role},,,,")
    return {"harness.toml": "\n".join(harness) + "\n", "pins.csv": "\n".join(rows) + "\n"}


@st.composite
def mutilated(draw: st.DrawFn, files: dict[str, str] | None = None) -> dict[str, bytes | str]:
    """The files of a good profile with one to four pieces of one or more of them cut, doubled or overwritten."""
    result: dict[str, bytes | str] = dict(FILES if files is None else files)
    for _ in range(draw(st.integers(1, 4))):
        name = draw(st.sampled_from(sorted(result)))
        content = result[name]
        text = content if isinstance(content, str) else content.decode("utf-8", "replace")
        begin = draw(st.integers(0, len(text)))
        end = min(len(text), begin + draw(st.integers(0, 30)))
        action = draw(st.sampled_from(["cut", "double", "overwrite", "insert", "truncate", "bytes", "remove"]))
        if action == "cut":
            result[name] = text[:begin] + text[end:]
        elif action == "double":
            result[name] = text[:end] + text[begin:]
        elif action == "overwrite":
            result[name] = text[:begin] + draw(garbage) + text[end:]
        elif action == "insert":
            result[name] = text[:begin] + draw(garbage) + text[begin:]
        elif action == "truncate":
            result[name] = text[:begin]
        elif action == "bytes":
            data = text.encode("utf-8", "surrogatepass")
            result[name] = data[:begin] + draw(st.binary(max_size=6)) + data[begin:]
        else:
            del result[name]
            if not result:
                break
    return result

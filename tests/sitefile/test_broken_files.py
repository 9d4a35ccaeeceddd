"""One good site file, broken in one place at a time: every error has its line and its words."""

# ruff: noqa: E501  # a table reads best with one case a row

import pytest

# what is broken: (text in the good file, what stands there instead, line of the error, its words)
BROKEN = {
    "a quote left open": ("Cellar gas panel", '"Cellar', 9, ["line keys and dashes up"]),
    "a tab indents": ("  name: Cellar", "\tname: Cellar", 5, ["tab", "blanks"]),
    "a bracket left open": ("[0, 25]", "[0, 25", 29, ["brackets is not closed", "close the bracket"]),
    "two colons in a line": ("name: Press pit", "name: pit: press", 25, ["second ': '", "quotes"]),
    "an alias without anchor": ("[0, 25]", "*wide", 28, ["alias", "anchor"]),
    "an indentation that slips": ("  name: Cellar", " name: Cellar", 5, ["indentation"]),
    "a word that begins with @": ("Press pit", "@pit", 25, ["keeps for itself", "quotes"]),
    "a second document": ("inputs:", "---\ninputs:", 43, ["second document", "---"]),
    "a tag of YAML": ("Press pit", "!!binary aGk=", 25, ["tag !!binary", "take it out"]),
    "a key twice": ("    unit: \"%LEL\"\n", "    unit: ppm\n    unit: ppm\n", 38, ["unit stands twice", "line 37"]),
    "a list as key": ("inputs:", "? [a]\n: 1\ninputs:", 43, ["where a key should"]),
    "an alias that holds itself": ("[0, 25]", "&r [*r]", 28, ["without end"]),
    "a merge that merges nothing": ("    gas: propane", "    <<: 5\n    gas: propane", 36, ["<<"]),
    "no edition": ("gaswitness_site: 1\n", "", 1, ["gaswitness_site is missing", "gaswitness_site: 1"]),
    "another edition": ("gaswitness_site: 1", "gaswitness_site: 2", 2, ["cannot be 2", "write 1"]),
    "no panel": ("panel:\n  tag: GDP-7\n  name: Cellar gas panel\n  vendor: Example maker\n  document_revision: 2026-03-01\n", "", 1, ["panel is missing", "{tag: ...}"]),
    "a panel without tag": ("  tag: GDP-7\n", "", 3, ["tag is missing", "tag: TEXT"]),
    "a blank in a tag": ("tag: AT-3", "tag: AT 3", 34, ["tag 'AT 3'", "no blank"]),
    "a tag that is a number": ("tag: AT-3", "tag: 3", 34, ["tag must be text", '"3"']),
    "a section misspelt": ("inputs:", "imputs:", 43, ["imputs is not a known key", "did you mean inputs?"]),
    "a key misspelt": ("    detector: catalytic", "    detektor: catalytic", 39, ["AT-3: detektor", "did you mean detector?"]),
    "a level's key misspelt": ("{setpoint: 20, hysteresis: 2}", "{setpoint: 20, hysterese: 2}", 41, ["did you mean hysteresis?"]),
    "an unknown unit": ('unit: "%LEL"\n', 'unit: "%LELL"\n', 37, ["unit cannot be '%LELL'", "did you mean %LEL?"]),
    "an unknown detector": ("detector: catalytic", "detector: catalyst", 39, ["did you mean catalytic?"]),
    "an unknown output": ("kind: fan", "kind: van", 46, ["kind cannot be 'van'", "did you mean fan?"]),
    "text for a number": ("over_range: 5.5", "over_range: lots", 19, ["over_range must be a number", "'lots'"]),
    "a unit behind a number": ("over_range: 5.5", "over_range: 5.5 %vol", 19, ["without a unit"]),
    "a decimal comma": ("over_range: 5.5", "over_range: 5,5", 19, ["decimal comma", "write 5.5"]),
    "a decimal comma in braces": ("{setpoint: 20, ", "{setpoint: 20,5, ", 41, ["5 is not a known key", "decimal comma"]),
    "a number as key": ("name: horn, ", "name: horn, 99999999999999999999, ", 69, ["99999999999999999999 is not a known key"]),
    "yes for a number": ("over_range: 5.5", "over_range: true", 19, ["true is not a number"]),
    "infinity": ("over_range: 5.5", "over_range: .inf", 19, ["finite number"]),
    "not a number": ("over_range: 5.5", "over_range: .nan", 19, ["finite number"]),
    "maybe for yes": ("latching: true}\ninputs", "latching: maybe}\ninputs", 42, ["latching must be true or false", "'maybe'"]),
    "a key without value": ("gas: propane", "gas:", 36, ["gas has no value", "write 'gas: TEXT'"]),
    "a range upside down": ("[0, 25]", "[25, 0]", 24, ["range must rise", "[25, 0]"]),
    "a range of three": ("[0, 25]", "[0, 20, 25]", 28, ["range is too long", "at most 2"]),
    "a range of one": ("[0, 25]", "[25]", 28, ["item 2 of range is missing", "write 'range: [A NUMBER, A NUMBER]'"]),
    "a range that is text": ("[0, 25]", "0-25", 28, ["range must be a list, found '0-25'", "write 'range: [A NUMBER"]),
    "a negative hysteresis": ("{setpoint: 20, hysteresis: 2}", "{setpoint: 20, hysteresis: -2}", 41, ["at least 0", "-2"]),
    "a level that is a number": ("A1: {setpoint: 20, hysteresis: 2}", "A1: 20", 41, ["A1 must be a group", "20"]),
    "a level without setpoint": ("{setpoint: 20, hysteresis: 2}", "{hysteresis: 2}", 41, ["setpoint is missing", "A NUMBER"]),
    "a level of another name": ("A2: {setpoint: 18,", "HIGH: {setpoint: 18,", [33, 52, 53, 64], ["'HIGH' is no alarm level", "A1, A2, A3"]),
    "channels empty": ("inputs:\n  - {tag: PB-1, name: Stop at the door, kind: stop button}\n", "inputs: 5\n", 43, ["inputs must be a list", "inputs.csv"]),
    "a channel that is a word": ("inputs:\n  - {tag", "inputs:\n  - word\n  - {tag", 44, ["group of keys and values", "'word'"]),
    "a beacon to be muted": ("kind: beacon, at: AT-2", "kind: beacon, mutable: true", 48, ["beacon is never mutable", "outputs of their own"]),
    "an output at no channel": ("at: AT-2", "at: AT-22", 48, ["K-LAMP", "'AT-22'", "did you mean AT-2?"]),
    "a tag twice": ("tag: PB-1", "tag: AT-2", [44, 53, 72], ["AT-2 stands twice", "line 24"]),
    "a tag twice but for case": ("tag: K-HORN", "tag: k-fan", [47, 52, 69], ["k-fan stands twice"]),
    "a reserved tag": ("tag: K-HORN", "tag: panel", [47, 52, 69], ["tag panel means something else"]),
    "a cause that breaks off": ("AT-2.A2 OR PB-1.active", "AT-2.A2 OR", 53, ["'the end'", "write for example"]),
    "a cause of strange signs": ("AT-2.A2 OR PB-1.active", "AT-2.A2 & PB-1.active", 53, ["cannot read '& PB-1.active'"]),
    "a cause without aspect": ("AT-2.A2 OR PB-1.active", "AT-2.A2 OR PB-1", 53, ["'PB-1' is not a cause"]),
    "a vote that miscounts": ("1oo3(", "1oo4(", 52, ["1oo4 wants 4 terms, found 3"]),
    "a vote of too many": ("1oo3(", "4oo3(", 52, ["never be met", "1oo3 to 3oo3"]),
    "an unknown tag in a cause": ("cause: AT-2.A2 OR", "cause: AT-9.A2 OR", 53, ["'AT-9' is no known tag: write one of AT-1, AT-2"]),
    "a level that is not there": ("cause: AT-2.A2 OR", "cause: AT-2.A3 OR", 53, ["AT-2 has no alarm level A3", "A1, A2"]),
    "an aspect misspelt": ("cause: panel.fault", "cause: panel.fualt", 54, ["no aspect 'fualt'", "did you mean panel.fault?"]),
    "an output as cause": ("cause: any.A1", "cause: K-HORN.active", 51, ["K-HORN is an output", "effects"]),
    "a level that no channel has": ("cause: any.A1", "cause: any.A3", 51, ["no channel has an alarm level A3"]),
    "an input's other aspect": ("PB-1.active, effect", "PB-1.fault, effect", 53, ["did you mean PB-1.active?"]),
    "an unknown effect": ("effect: K-LAMP", "effect: K-LAMB", 53, ["no known output", "did you mean K-LAMP?"]),
    "an input as effect": ("effect: K-LAMP", "effect: PB-1", 53, ["'PB-1' is not an output"]),
    "a cell twice": ("cause: AT-2.A2 OR PB-1.active, effect: K-LAMP", "cause: any.A1, effect: K-FAN", 53, ["'any.A1 > K-FAN' stands twice", "line 51"]),
    "a cell without response": ("effect: K-LAMP, response_s: 5", "effect: K-LAMP", 53, ["response_s is missing"]),
    "a response of nothing": ("effect: K-LAMP, response_s: 5", "effect: K-LAMP, response_s: 0", 53, ["above 0"]),
    "early beyond the delay": ("early_s: 2", "early_s: 9", 54, ["early_s cannot be longer", "at most 4"]),
    "a link of another kind": ("tcp://192.0.2.17:502", "serial://COM3", 9, ["'serial' are not known", "tcp://HOST:PORT/UNIT"]),
    "a link without a way": ("tcp://192.0.2.17:502", "192.0.2.17", 9, ["does not say how"]),
    "a port beyond all": ("192.0.2.17:502", "192.0.2.17:99999", 9, ["port that cannot be", "write tcp://"]),
    "a unit id beyond all": ("unit: 3}", "unit: 300}", 9, ["unit must be at most 255", "300"]),
    "yes for a unit id": ("unit: 3}", "unit: true}", 9, ["true is not a number"]),
    "yes for a bit": ("bit: 2, shows", "bit: true, shows", 65, ["true is not a number"]),
    "yes for an address": ("address: 30007", "address: true", 61, ["address has no number"]),
    "a unit id with a point": ("unit: 3}", "unit: 3.5}", 9, ["unit must be a whole number", "3.5"]),
    "a link twice": ("unit: 3}", 'unit: 3}\n  - {name: cellar switch, address: "tcp://192.0.2.18"}', 10, ["link 'cellar switch' stands twice", "line 9"]),
    "a poll period of nothing": ("poll_period_s: 0.5", "poll_period_s: 0", 10, ["poll_period_s must be above 0"]),
    "a fast that is slow": ("request_gap_s: 0.02", "fast: {period_s: 0.5, what: [levels]}", 10, ["period_s shorter than poll_period_s", "write less than 0.5"]),
    "a fast of nothing": ("request_gap_s: 0.02", "fast: {period_s: 0.1, what: []}", 10, ["what has too few entries"]),
    "a fast without a period": ("request_gap_s: 0.02", "fast: {what: [levels]}", 10, ["period_s is missing"]),
    "a fast word misspelt": ("request_gap_s: 0.02", "fast: {period_s: 0.1, what: [lvels]}", 10, ["pace.fast: 'lvels' is not known", "did you mean levels?", "or tags of this panel"]),
    "a fast tag of nobody": ("request_gap_s: 0.02", "fast: {period_s: 0.1, what: [levels, AT-9]}", 10, ["pace.fast: 'AT-9' is not known"]),
    "a fast word twice": ("request_gap_s: 0.02", "fast: {period_s: 0.1, what: [levels, levels]}", 10, ["'levels' stands twice"]),
    "a read larger than the protocol's": ("request_gap_s: 0.02", "largest_read_registers: 126", 10, ["at most 125"]),
    "a dwell within the refresh": ("refresh_s: 0.1", "refresh_s: 2", 11, ["shortest_dwell_s must be longer", "more than 2"]),
    "an unknown notation": ("notation: reference", "notation: refference", 55, ["did you mean reference?"]),
    "an unknown filling of gaps": ("register: zeros", "register: zero", 55, ["did you mean zeros?"]),
    "gaps of an unknown table": ("gaps: {holding register: zeros}", "gaps: {holding: zeros}", 55, ["cannot be 'holding'", "did you mean holding register?"]),
    "an unknown table": ("table: input register, address: 30007", "table: input registers, address: 30007", 61, ["beat: table", "did you mean input register?"]),
    "a reference of another table": ("address: 30007", "address: 40007", 61, ["address 40007 names a holding register", "300001"]),
    "a reference of no table": ("address: 30007", "address: 20007", 61, ["begins with 2"]),
    "a reference too short": ("address: 30007", "address: 6", 61, ["names a coil"]),
    "a reference too long": ("address: 30007", "address: 3000007", 61, ["five or six digits"]),
    "a reference past the table": ("address: 30007", "address: 365537", 61, ["outside its table", "365536"]),
    "a reference of element nought": ("address: 30007", "address: 30000", 61, ["outside its table", "300001"]),
    "a hexadecimal reference": ("address: 30007", "address: 0x7537", 61, ["hexadecimal", "decimal"]),
    "an address that is a word": ("address: 30007", "address: first", 61, ["whole number", "'first'"]),
    "an address that is negative": ("address: 30007", "address: -1", 61, ["not a reference"]),
    "no address": ("address: 30007, ", "", 61, ["beat: address is missing"]),
    "a point past the end": ("address: 30003, type: float32", "address: 365536, type: float32", 58, ["go past 65535"]),
    "an unknown type": ("type: float32", "type: floot32", 58, ["type cannot be 'floot32'", "did you mean float32?"]),
    "an unknown order": ("order: CDAB", "order: CDBA", 58, ["order cannot be 'CDBA'", "ABCD, CDAB, BADC, DCBA"]),
    "an unknown access": ("shows: heartbeat", "shows: heartbeat, access: read", 61, ["access cannot be 'read'", "r, rw, w"]),
    "a word in a table of bits": ("table: coil, address: 00002, type: bit,", "table: coil, address: 00002, type: uint16,", 69, ["coil holds one bit"]),
    "a bit in a table of words": ("type: uint16, shows: heartbeat", "type: bit, shows: heartbeat", 61, ["is a word", "bit in word"]),
    "a bit in word without bit": ("bit: 2, shows", "shows", 65, ["bit in word needs bit", "0 to 15"]),
    "a bit beyond the word": ("bit: 2, shows", "bit: 16, shows", 65, ["at most 15"]),
    "a bit without a word": ("type: uint16, shows: heartbeat", "type: uint16, bit: 3, shows: heartbeat", 61, ["bit belongs to a bit in word"]),
    "a string without length": ("length: 4, ", "", 66, ["string needs length"]),
    "a string too long": ("value: CELLAR", "value: THE CELLAR", 66, ["hold 8 characters, not 10"]),
    "a string beyond ASCII": ("value: CELLAR", "value: ZIDRØ", 66, ["ASCII"]),
    "an enumeration without codes": (", codes: {0: normal, 1: A1, 2: A2, 3: fault, 4: warm_up, 5: inhibit}", "", 60, ["needs codes", "{0: normal, 1: A1}"]),
    "a code that is a word": ("3: fault", "three: fault", 60, ["key of codes", "whole number", "'three'"]),
    "a code of no state": ("3: fault", "3: faulty", 60, ["code 3: 'faulty' is no state", "did you mean fault?"]),
    "a code beyond a register": ("3: fault", "70000: fault", 60, ["cannot hold code 70000"]),
    "a bit field without bits": ("bits: {0: AT-1.A1, 1: AT-1.A2, 2: AT-1.fault}", "note: none", 62, ["bit field needs bits"]),
    "a bit field of another kind": ("type: bit field, shows: bits", "type: bit field, shows: AT-1.A1", 62, ["shows: bits where"]),
    "bits of a plain number": ("type: uint16, shows: heartbeat", "type: uint16, shows: bits", 61, ["uint16 shows bits"]),
    "a bit beyond a field": ("2: AT-1.fault", "16: AT-1.fault", 62, ["no bit 16"]),
    "a reading in a bit": ("2: AT-1.fault", "2: AT-1.reading", 62, ["no yes or no"]),
    "an unknown tag in a bit": ("2: AT-1.fault", "2: AT-7.fault", 62, ["'AT-7' is no known tag: write one of AT-1"]),
    "a constant without value": (", value: 12", "", 67, ["constant needs its value"]),
    "a number that is text": ("value: 12", "value: twelve", 67, ["holds a number, found 'twelve'"]),
    "a constant of no code": ("type: uint16, shows: constant, value: 12", "type: enumeration, codes: {1: left, 2: right}, shows: constant, value: lefft", 67, ["'lefft' is none of the codes", "did you mean left?"]),
    "a value of no constant": ("shows: heartbeat", "shows: heartbeat, value: 3", 61, ["value belongs to a constant"]),
    "an unknown tag in a point": ("shows: AT-2.reading", "shows: AT2.reading", 58, ["'AT2' is no known tag", "did you mean AT-2?"]),
    "an aspect of a point misspelt": ("shows: K-FAN.active", "shows: K-FAN.activ", 68, ["no aspect 'activ'", "did you mean K-FAN.active?"]),
    "a point that shows just a tag": ("shows: PB-1.active", "shows: PB-1", 72, ["which aspect", "PB-1.active"]),
    "a point that shows nonsense": ("shows: heartbeat", "shows: hartbeat", 61, ["did you mean heartbeat?"]),
    "a level not there in a point": ("shows: AT-2.A1", "shows: AT-2.A3", 63, ["no alarm level A3"]),
    "a setpoint of no level": ("shows: heartbeat", "shows: AT-3.A3.setpoint", 61, ["no alarm level A3"]),
    "a reading in codes": ("shows: AT-3.state, codes", "shows: AT-3.reading, codes", 60, ["reading is a number, not an enumeration"]),
    "a state without codes": ("type: uint16, shows: heartbeat", "type: uint16, shows: AT-3.state", 61, ["state needs codes"]),
    "a flag in a number": ("type: uint16, shows: heartbeat", "type: uint16, shows: AT-3.A1", 61, ["AT-3.A1 is yes or no", "bit in word"]),
    "a heartbeat of text": ("type: string, length: 4, shows: constant, value: CELLAR", "type: string, length: 4, shows: heartbeat", 66, ["heartbeat is a bit or a number"]),
    "a scale of nought": ("scale: 0.01", "scale: 0", 57, ["scale 0"]),
    "low above high": ("low: -10, high: 110", "low: 110, high: -10", 59, ["low 110 is above high -10"]),
    "another unit than the channel's": ("scale: 0.1, unit: \"%LEL\"", "scale: 0.1, unit: \"%vol\"", 59, ["not that of AT-3, %LEL"]),
    "a sentinel outside the type": ("sentinel: 65535", "sentinel: 65536", 57, ["outside uint16, 0 to 65535"]),
    "a sentinel unsigned in a signed": ("scale: 0.1, unit", "scale: 0.1, sentinel: 32768, unit", 59, ["outside int16", "-32768 as a signed"]),
    "a sentinel of a bit": ("bit: 2, shows", "bit: 2, sentinel: 1, shows", 65, ["no raw value for a sentinel"]),
    "no sentinel though the channel shows one": (", sentinel: 65535", "", 57, ["AT-1 shows the sentinel on fault", "none is given"]),
    "NaN in an integer": ("on_fault: sentinel", "on_fault: nan", 57, ["AT-1 shows NaN on fault", "uint16 cannot hold"]),
    "a written input register": ("shows: heartbeat", "shows: heartbeat, access: rw", 61, ["input register cannot be written"]),
    "a command that is read only": ("table: coil, address: 00002, type: bit, shows: K-HORN.active", "table: coil, address: 00002, type: bit, shows: panel.reset", 69, ["command (panel.reset) must be writable"]),
    "a command in a float": ("type: float32, shows: AT-2.reading, order: CDAB, unit: \"%vol\"", "type: float32, shows: panel.mute, order: CDAB, access: w", [58, 58], ["command cannot be a float32"]),
    "a name twice": ("name: horn,", "name: lamp,", 70, ["point name 'lamp' stands twice", "line 69"]),
    "a table file without file": ("points:\n", "points: {sheet: Points}\nrest:\n", [56, 57], ["'file' is missing"]),
    "a table file that is not there": ("inputs:\n  - {tag: PB-1, name: Stop at the door, kind: stop button}\n", "inputs: {file: inputs.csv}\n", 43, ["there is no table file", "inputs.csv"]),
    "a table file with a strange key": ("inputs:\n  - {tag: PB-1, name: Stop at the door, kind: stop button}\n", "inputs: {file: inputs.csv, shet: 1}\n", 43, ["shet is not a known key", "did you mean sheet?"]),
    "a table of another kind": ("inputs:\n  - {tag: PB-1, name: Stop at the door, kind: stop button}\n", "inputs: {file: inputs.ods}\n", 43, [".ods are not read", ".csv"]),
    "a sheet of a text file": ("inputs:\n  - {tag: PB-1, name: Stop at the door, kind: stop button}\n", "inputs: {file: site.yaml, sheet: In}\n", 43, ["no workbook", "take 'sheet' out"]),
    "a sheet that is a number": ("inputs:\n  - {tag: PB-1, name: Stop at the door, kind: stop button}\n", "inputs: {file: in.xlsx, sheet: 1}\n", 43, ["'sheet' must be text", 'sheet: "1"']),
}  # fmt: skip


@pytest.mark.parametrize("what", BROKEN)
def test_a_broken_file_says_where_and_how(what, changed, broken):
    old, new, lines, words = BROKEN[what]
    problems = broken(changed((old, new)))

    expected = lines if isinstance(lines, list) else [lines]
    assert [problem.place.line for problem in problems] == expected
    text = "\n".join(str(problem) for problem in problems)
    assert all(word in text for word in words), text
    assert all(problem.remedy for problem in problems), text
    assert all(problem.place.file.endswith("site.yaml") for problem in problems)


BYTES = {
    "an empty file": (b"", 1, ["site file is empty"]),
    "blanks only": (b"  \n \n", 1, ["site file is empty"]),
    "remarks only": (b"# nothing\n", 1, ["only remarks"]),
    "a list": (b"- 1\n- 2\n", 1, ["not keys and values"]),
    "a word": (b"panel\n", 1, ["not keys and values"]),
    "not UTF-8": (b"panel:\n  name: K\xe4lte\n", 2, ["not UTF-8", "0xE4", "save it as text in UTF-8"]),
    "UTF-16": ("\ufeffpanel: 1\n".encode("utf-16-le"), 1, ["UTF-16"]),
    "binary": (b"panel: 1\nname: \0\0\0\n", 2, ["binary"]),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 1, ["not UTF-8"]),
    "a control character": (b"panel: 1\nname: \x07\n", 2, ["control character"]),
    "nothing but a key": (b"gaswitness_site: 1\n", 1, ["panel is missing", "channels is missing", "points is missing"]),
    "no channels in the list": (b"gaswitness_site: 1\npanel: {tag: P}\nchannels: []\npoints: []\n", 3, ["channels has too few entries"]),
    "brackets without end": (b"a: " + b"[" * 3000, 1, []),
    "half a character": (b'gaswitness_site: "\\ud800"\n', 1, ["half a character"]),
    "aliases that unfold": (b"a: &a [1,1,1,1,1,1,1,1,1]\nb: &b [*a,*a,*a,*a,*a,*a,*a,*a,*a]\nc: &c [*b,*b,*b,*b,*b,*b,*b,*b,*b]\nd: &d [*c,*c,*c,*c,*c,*c,*c,*c,*c]\ne: &e [*d,*d,*d,*d,*d,*d,*d,*d,*d]\nf: [*e,*e,*e,*e,*e,*e,*e,*e,*e]\n", 1, ["unfold"]),
}  # fmt: skip


@pytest.mark.parametrize("what", BYTES)
def test_a_file_that_is_no_site_file_says_so(what, broken):
    content, line, words = BYTES[what]
    problems = broken(content)

    text = "\n".join(str(problem) for problem in problems)
    assert problems[0].place.line == line
    assert all(word in text for word in words), text


def test_all_errors_come_at_once(changed, broken):
    problems = broken(
        changed(
            ("tag: GDP-7", "tag: GDP 7"),
            ('unit: "%LEL"\n', "unit: LEL\n"),
            ("kind: fan", "kind: van"),
            ("cause: any.A1", "cause: any.A1 AND"),
            ("cause: panel.fault", "cause: AT-9.fault"),
            ("address: 30007", "address: 40007"),
            ("scale: 0.01", "scale: nought"),
            ("shows: PB-1.active", "shows: PB-2.active"),
            ("notation: reference", "notation: reference, odder: CDAB"),
        )
    )

    assert [problem.place.line for problem in problems] == [4, 37, 46, 51, 54, 55, 57, 72]


def test_a_wrong_notation_does_not_blame_every_address(changed, broken):
    problems = broken(changed(("notation: reference", "notation: refs")))

    assert [problem.place.line for problem in problems] == [55]


def test_a_channel_that_cannot_be_read_does_not_make_its_tag_unknown(changed, broken):
    problems = broken(changed(("gas: propane", "gas: 7")))

    assert [str(problem.what) for problem in problems] == ["AT-3: gas must be text, found 7"]

import asyncio
import io
import os
import sys

import pytest

from gaswitness_scenarios.person import TerminalPerson


async def test_lines_are_read_one_answer_at_a_time():
    out = io.StringIO()
    person = TerminalPerson(io.StringIO("\n s because\n"), out)
    person.show("step 1 of 2")
    assert await person.answer("done? ") == ""
    assert await person.answer("done? ") == "s because"
    assert out.getvalue() == "step 1 of 2\ndone? done? "


async def test_the_end_of_input_is_no_answer():
    assert await TerminalPerson(io.StringIO(""), io.StringIO()).answer("? ") is None


async def test_the_loop_goes_on_while_the_person_works():
    read_end, write_end = os.pipe()
    with os.fdopen(read_end) as source, os.fdopen(write_end, "w") as keys:
        asked = asyncio.create_task(TerminalPerson(source, io.StringIO()).answer("? "))
        for _ in range(3):
            await asyncio.sleep(0.01)
        assert not asked.done()
        keys.write("y\n")
        keys.flush()
        assert await asked == "y"


async def test_a_question_given_up_does_not_swallow_the_next_answer():
    read_end, write_end = os.pipe()
    with os.fdopen(read_end) as source, os.fdopen(write_end, "w") as keys:
        person = TerminalPerson(source, io.StringIO())
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(person.answer("? "), 0.02)
        keys.write("second\n")
        keys.flush()
        assert await person.answer("? ") == "second"


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are of POSIX systems")
async def test_keys_hit_before_the_question_do_not_answer_it():
    main, terminal = os.openpty()
    with os.fdopen(terminal, "r") as source:
        person = TerminalPerson(source, io.StringIO())
        os.write(main, b"early\n")
        await asyncio.sleep(0.05)
        asked = asyncio.create_task(person.answer("? "))
        await asyncio.sleep(0.05)
        assert not asked.done()
        os.write(main, b"late\n")
        assert await asked == "late"
    os.close(main)

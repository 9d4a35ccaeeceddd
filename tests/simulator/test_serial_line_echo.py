from gaswitness_simulator.serial_line_echo import Echo


def test_an_echo_is_left_out_however_it_comes():
    echo = Echo()
    for parts in ([b"answer"], [b"ans", b"wer"], [b"a", b"nswer"]):
        echo.sent(b"answer", 0.99, 1.0)
        assert [echo.without(part, 1.0) for part in parts] == [b""] * len(parts)
        assert echo.without(b"request", 1.0) == b"request"


def test_what_follows_an_echo_at_once_is_heard():
    echo = Echo()
    echo.sent(b"answer", 0.99, 1.0)
    assert echo.without(b"answerrequest", 1.0) == b"request"


def test_an_answer_to_a_write_is_no_request_where_the_line_echoes():
    echo = Echo()
    for _ in range(3):
        echo.sent(b"same", 0.99, 1.0)
        assert echo.without(b"same", 1.005) == b""
        assert echo.without(b"same", 1.020) == b"same"


def test_a_line_without_echo_is_left_alone_for_good():
    echo = Echo()
    echo.sent(b"answer", 0.99, 1.0)
    assert echo.without(b"same", 1.001) == b"same"
    echo.sent(b"same", 1.99, 2.0)
    assert echo.without(b"same", 2.001) == b"same"


def test_what_only_begins_as_an_echo_is_heard_whole():
    echo = Echo()
    echo.sent(b"answer", 0.99, 1.0)
    assert echo.without(b"ans", 1.0) == b""
    assert echo.without(b"XX", 1.0) == b"ansXX"
    echo.sent(b"answer", 1.99, 2.0)
    assert echo.without(b"answer", 2.0) == b""


def test_the_echo_of_two_answers_in_a_row_is_left_out():
    echo = Echo()
    echo.sent(b"short", 0.99, 1.00)
    echo.sent(b"a long one", 1.00, 1.09)
    assert echo.without(b"short", 1.005) == b"" == echo.without(b"a lo", 1.05)
    assert echo.without(b"ng onenext", 1.1) == b"next"


def test_an_echo_that_never_came_is_not_awaited_later():
    echo = Echo()
    echo.sent(b"first", 0.99, 1.0)
    echo.sent(b"second", 1.99, 2.0)
    assert echo.without(b"second", 2.0) == b""


def test_what_comes_long_after_is_no_echo():
    echo = Echo()
    echo.sent(b"same", 0.99, 1.0)
    assert echo.without(b"same", 1.2) == b"same"

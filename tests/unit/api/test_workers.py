"""Reading processes: one that dies or hangs costs one photo, not the service."""

import os
import signal
import threading
import time

import cv2
import numpy as np
import pytest

from api import workers
from api.look import Look, Wish
from api.named import Named
from api.workers import Fault, ReadingPool
from tests.whole.shop import TABLE

PHOTO = Named("a.jpg", b"no photo")
WISH = Wish(Named("t.csv", TABLE.encode()))
LOOK = Look(PHOTO, WISH)


@pytest.fixture
def pool():
    opened = ReadingPool(1, 60.0)
    yield opened
    opened.close()


def test_what_is_no_image_is_told_with_its_name(pool):
    answer = pool.read(LOOK)

    assert isinstance(answer, Fault)
    assert answer.code == "not_an_image"
    assert answer.message.startswith("a.jpg: ")


def test_a_broken_table_is_told_with_its_line(pool):
    broken = Named("t.csv", TABLE.replace("7.2,72", "x,72").encode())
    answer = pool.read(Look(PHOTO, Wish(broken)))

    assert answer.code == "unusable_table_or_card"
    assert "t.csv, line 3" in answer.message


def test_a_reader_that_dies_or_hangs_is_replaced(pool):
    pool.read(LOOK)
    os.kill(pool._workers[0].process.pid, signal.SIGKILL)
    assert pool.read(LOOK).code == "reading_stopped"
    assert pool.read(LOOK).code == "not_an_image"

    os.kill(pool._workers[0].process.pid, signal.SIGSTOP)
    pool._timeout_s = 0.5
    began = time.monotonic()
    assert pool.read(LOOK).code == "reading_stopped"
    assert time.monotonic() - began < 30
    pool._timeout_s = 60.0
    assert pool.read(LOOK).code == "not_an_image"


def test_when_all_are_busy_the_caller_hears_it(pool, monkeypatch):
    monkeypatch.setattr(workers, "BUSY_AFTER_S", 0.05)
    with pool._worker(), pytest.raises(workers.AllBusyError):
        pool.read(LOOK)


def test_what_a_decoder_says_of_a_damaged_photo_stays_out_of_the_log(capfd):
    picture = np.random.default_rng(4).integers(0, 256, (600, 800, 3), np.uint8)
    data = bytearray(cv2.imencode(".jpg", picture)[1].tobytes())
    data[40_000:40_400] = bytes(400)
    opened = ReadingPool(1, 60.0)
    try:
        answer = opened.read(Look(Named("a.jpg", bytes(data)), WISH))
    finally:
        opened.close()

    assert answer.reading["card"]["found"] is False
    assert capfd.readouterr().err == ""


def test_who_waits_longest_is_served_first(pool):
    served = []

    def wait(who):
        with pool._worker():
            served.append(who)

    hands = [threading.Thread(target=wait, args=(who,)) for who in range(5)]
    with pool._worker():
        for number, hand in enumerate(hands, start=1):
            hand.start()
            while len(pool._waiting) < number:
                time.sleep(0.001)
    for hand in hands:
        hand.join()

    assert served == [0, 1, 2, 3, 4]


def test_after_a_vain_wait_the_worker_is_still_there(pool, monkeypatch):
    monkeypatch.setattr(workers, "BUSY_AFTER_S", 0.05)
    with pool._worker(), pytest.raises(workers.AllBusyError):
        pool.read(LOOK)
    monkeypatch.setattr(workers, "BUSY_AFTER_S", 60.0)
    assert pool.read(LOOK).code == "not_an_image"

"""What goes over the line is small where that helps."""


def test_pages_are_squeezed_for_a_browser_that_takes_it(shop):
    page = shop.client.get("/tubs", headers={"Accept": "text/html", "Accept-Encoding": "gzip"})
    assert page.headers["content-encoding"] == "gzip"
    assert "</html>" in page.text


def test_pages_go_plain_to_who_asks_for_no_squeezing(shop):
    page = shop.client.get("/tubs", headers={"Accept": "text/html", "Accept-Encoding": "identity"})
    assert "content-encoding" not in page.headers


def test_what_programs_ask_for_is_left_as_it_is(shop):
    answer = shop.client.get("/api/tubs", headers={"Accept-Encoding": "gzip"})
    assert "content-encoding" not in answer.headers

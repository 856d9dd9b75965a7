"""Work that takes a while says how far it is, and what was wrong with it stands beside the form."""

from playwright.sync_api import expect

from tests.browser.conftest import ROOT, SAMPLES, SCREENS, watched

TEXTS = """() => {
  window.said = [];
  new MutationObserver(() => {
    const line = document.querySelector(".progress");
    if (line?.textContent) window.said.push(line.textContent);
  }).observe(document.querySelector("main"), { childList: true, subtree: true });
}"""


def test_a_control_dip_tells_its_progress_and_its_faults(open_browser, service):
    page = watched(open_browser(SCREENS["phone"]).pages[0])
    page.goto(f"{service.url}/shop/control")
    page.set_input_files("[name=photo]", ROOT / "pyproject.toml")
    page.click("text=Enter this dip")
    expect(page.get_by_role("alert")).to_contain_text("pyproject.toml")
    expect(page.get_by_role("button", name="Enter this dip")).to_be_enabled()

    page.evaluate(TEXTS)
    page.set_input_files("[name=photo]", SAMPLES / "01-shade.jpg")
    page.click("text=Enter this dip")
    page.wait_for_function("() => window.said?.some((text) => /^Reading the strip/.test(text))")
    expect(page.locator("figure.control").first).to_contain_text("1 dip")
    assert [text for text in page.heard if "422" not in text] == []

"""On a phone with script a unit may be typed with its number, too."""

from playwright.sync_api import Browser, expect

from tests.browser.conftest import PHONE, page_at


def test_the_number_keeps_its_digits_and_the_unit_is_chosen(browser: Browser, demo: str, complaints):
    page = page_at(browser, PHONE)
    complaints.watch(page)
    page.goto(f"{demo}/batches")
    taken = page.evaluate(
        """async () => {
          const app = document.querySelector("script[src*='/js/app.js']").src;
          const { readForm } = await import(app.replace("app.js", "record.js"));
          const form = document.createElement("form");
          Object.assign(form.dataset, { subject: "batch:x", zone: "Europe/Dublin" });
          form.innerHTML = `<div class="quantity"><input name="value" class="quantity-number" inputmode="decimal"
            value="68 °F">
            <select name="value_unit" class="quantity-unit"><option value="c">°C</option>
            <option value="f">°F</option></select></div>
            <div class="quantity"><input name="other" class="quantity-number" inputmode="decimal" value="5,0 kg">
            <select name="other_unit" class="quantity-unit"><option value="c">°C</option></select></div>`;
          const refused = readForm(form, "grain_temperature", "", 0).errors.map(([field]) => field.name);
          form.elements.other.value = "5,0";
          return [refused, readForm(form, "grain_temperature", "", 0).record.typed];
        }"""
    )
    assert taken == [["other"], {"value": "68", "value_unit": "f", "other": "5,0", "other_unit": "c"}]
    expect(page.locator("h1")).to_be_visible()
    page.context.close()

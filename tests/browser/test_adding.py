"""A form that is gone back to and sent once more adds nothing twice."""

from playwright.sync_api import expect

from shop.models import Customer


def test_a_customer_sent_again_after_going_back_is_the_same_one(
    page, live_server, counter, sign_in
):
    sign_in(counter)
    page.goto(f"{live_server.url}/customers/add/")
    page.get_by_label("Name").fill("Ines Marlow")
    number = page.locator("[name=uuid]").input_value()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Ines Marlow")
    address = page.url

    page.go_back()
    expect(page.locator("[name=uuid]")).to_have_value(number)
    page.get_by_label("Name").fill("Ines Marlow")
    page.get_by_role("button", name="Save").click()
    expect(page).to_have_url(address)
    assert Customer.objects.count() == 1

    page.go_back()
    page.get_by_label("Name").fill("Osric Penn")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("saved before, as Ines Marlow")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Osric Penn")
    assert sorted(Customer.objects.values_list("name", flat=True)) == ["Ines Marlow", "Osric Penn"]

    page.goto(f"{live_server.url}/customers/add/")
    expect(page.locator("[name=uuid]")).not_to_have_value(number)

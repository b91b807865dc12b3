from email.mime.image import MIMEImage

import pytest
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.filebased import EmailBackend
from django.urls import reverse

from server.web.mails import mail_at, mails_in
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db
HTML = '<html><head></head><body style="color: red"><p>In HTML.</p><img src="cid:chart"><script>alert(1)</script>'
PICTURE = b"\x89PNG\r\n\x1a\n not really a picture"


@pytest.fixture
def folder(settings, tmp_path):
    """Two mails as Django's file backend writes them, the second with HTML and a picture."""
    place = tmp_path / "mail"
    settings.DEMO_MAIL_DIR = str(place)
    backend = EmailBackend(file_path=str(place))
    plain = EmailMultiAlternatives("Plain", "A plain mail.", "flyround@example.org", ["anna@example.org"])
    rich = EmailMultiAlternatives("Hollow Creek: ñ", "In words.", "flyround@example.org", ["ben@example.org"])
    rich.attach_alternative(
        '<html><head></head><body style="color: red"><p>In HTML.</p><img src="cid:chart"><script>alert(1)</script>',
        "text/html",
    )

    picture = MIMEImage(PICTURE, "png")
    picture.add_header("Content-ID", "<chart>")
    rich.attach(picture)
    backend.send_messages([plain, rich])
    return place


def test_the_mails_of_the_demo_are_listed_and_read(browser, folder):
    page = words(browser().get(reverse("mails")))
    assert "Hollow Creek: ñ ben@example.org" in page and "Plain anna@example.org" in page
    shown = mails_in(folder)
    found = next(mail for mail in shown if mail.subject == "Hollow Creek: ñ")
    assert "In words." in words(browser().get(reverse("mail", args=[found.name, found.number])))


def test_the_html_stands_in_a_sandbox_that_runs_nothing_and_fetches_nothing(browser, folder):
    listed = next(mail for mail in mails_in(folder) if mail.subject == "Hollow Creek: ñ")
    found = mail_at(folder, listed.name, listed.number)
    assert found is not None
    around = browser().get(reverse("mail", args=[found.name, found.number])).content.decode()
    assert 'sandbox="allow-top-navigation-by-user-activation"' in around
    inside = browser().get(reverse("mail_html", args=[found.name, found.number]))
    policy = inside["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "script-src" not in policy and "sandbox" in policy
    assert "frame-ancestors 'self'" in policy and inside["X-Frame-Options"] == "SAMEORIGIN"
    assert 'src="data:image/png;base64,' in inside.content.decode()


def test_a_season_of_mails_comes_in_pages(browser, folder):
    mails = [
        EmailMultiAlternatives(f"Week {week}", "?", "flyround@example.org", ["anna@example.org"]) for week in range(60)
    ]
    EmailBackend(file_path=str(folder)).send_messages(mails)
    first, last = (words(browser().get(reverse("mails"), {"page": page})) for page in (1, 2))
    assert "Older" in first and "Newer" not in first and "Newer" in last and "Older" not in last
    assert first.count("example.org") + last.count("example.org") == 62


def test_anywhere_but_in_the_demo_there_is_no_such_page(browser, folder, settings):
    name = mails_in(folder)[0].name
    settings.DEMO_MAIL_DIR = ""
    client = browser()
    for address in (reverse("mails"), reverse("mail", args=[name, 0]), reverse("mail_html", args=[name, 0])):
        assert client.get(address).status_code == 404


@pytest.mark.parametrize("name", ["..", "../settings.py", "/etc/passwd", ".hidden.log", "no-such.log"])
def test_no_name_leads_out_of_the_folder(folder, name):
    (folder / ".hidden.log").write_text("Subject: secret\n\nsecret")
    assert mail_at(folder, name, 0) is None


def test_a_mail_that_is_not_there_is_not_found(browser, folder):
    assert browser().get(reverse("mail", args=[mails_in(folder)[0].name, 9])).status_code == 404

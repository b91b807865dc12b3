import pytest

from farms import services
from farms.models import User
from tests.cast import acting


def test_a_user_is_spoken_to_in_another_language(ben):
    with acting(ben):
        services.set_language(user=ben, language="en")
    assert User.objects.get(id=ben.id).language == "en"


def test_a_language_that_is_not_spoken_here_is_refused(ben):
    with acting(ben), pytest.raises(services.LanguageUnknown):
        services.set_language(user=ben, language="tlh")
    assert User.objects.get(id=ben.id).language == "es"

"""The sentences of what is to be thought of with an application. A question or a fact, never an order or a product."""

from django.utils.translation import gettext_lazy as _

from monitoring.rules.stewardship import StewardshipWarning

LAW = _("The label is the law; local rules and licensed applicators decide.")
SENTENCES = {
    StewardshipWarning.CERTIFIER_REFUSED: _("The organic certifier answered that this is not allowed."),
    StewardshipWarning.CERTIFIER_LATE: _("The organic certifier answered after it was applied."),
    StewardshipWarning.WASPS_THERE: _(
        "Parasitic wasps were released there in the eight weeks before, and a residual spray kills them too. Was that "
        "thought of?"
    ),
    StewardshipWarning.SAME_GROUP: _(
        "The application before it there was of the same IRAC group. Flies get used to a group that is used again and "
        "again: is there one of another group?"
    ),
    StewardshipWarning.NO_ROTATION: _(
        "The application before it there was of the other of the groups 1A and 1B. Both work in the same way, so that "
        "is no change of group."
    ),
    StewardshipWarning.BOTH_STAGES: _(
        "Something of the same IRAC group was used there this season against the other stage: maggots here, flies "
        "there. One group against both makes flies get used to it sooner."
    ),
    StewardshipWarning.NO_CERTIFICATE: _("The group asks for the applicator's certificate number, and none was typed."),
}


def sentence_of(warning: StewardshipWarning) -> str:
    return str(SENTENCES[warning])

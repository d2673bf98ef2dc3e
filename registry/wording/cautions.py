"""What a result does not say: the sentences that stand on every page and paper that shows one."""

from __future__ import annotations

from django.utils.translation import gettext as _


def cautions() -> list[str]:
    """The cautions in reading order, in the active language. Never fewer, never folded away."""
    return [
        _("This was one exam on one day. It is not a diagnosis and not a promise."),
        _("Hips and elbows depend on how a dog grows up, and not on its genes alone."),
        _("Tested dogs are not all dogs. Owners choose which dogs are tested."),
        _(
            "Both parents count. Look at the health of the whole dog, and keep the breed varied "
            "when you choose a mate."
        ),
        _(
            "Ask a vet what this means for the dog. Follow the law and the club's rules. Only "
            "licensed people may sedate or X-ray a dog."
        ),
    ]

"""What a lesson says of states and of tricks of the light. Common practice, no published source."""

from collections.abc import Mapping

from satcheck.model import Label

LOOKS: Mapping[Label, tuple[str, str, str]] = {
    Label.STARVED: (
        "Bold, crisp check; dark gaps between the tows.",
        "Matt: no film of resin mirrors the light.",
        "Dry basalt is gold-brown and pale; wetted it turns nearly black.",
    ),
    Label.LEAN: (
        "The check is still crisp, but shallower.",
        "A little gloss on the crowns of the tows.",
        "Darker than dry.",
    ),
    Label.GOOD: (
        "The pattern is just visible, and soft.",
        "An even gloss over crowns and gaps.",
        "Even and deep.",
    ),
    Label.HEAVY: (
        "The pattern fades; the gaps are filled.",
        "Glossy, like a lens.",
        "A slight tint of the resin.",
    ),
    Label.RICH: (
        "Smooth: hardly a pattern, or none.",
        "Mirrors the lamp without a break.",
        "Tinted by thick resin.",
    ),
}
"""Relief, gloss and colour of each state under the film."""

TO_DO: Mapping[Label, str] = {
    Label.STARVED: "string resin in",
    Label.LEAN: "a little more in",
    Label.GOOD: "leave it",
    Label.HEAVY: "a little out",
    Label.RICH: "string it out",
}

FIBRE_NOTES: Mapping[str, str] = {
    "carbon": "Carbon deceives: it does not change colour as it wets. A crisp, showy pattern is a "
    "sign of too little resin, however good it looks.",
    "basalt": "Basalt shows: gold-brown when dry, nearly black when wetted, and the pattern "
    "flattens as it takes up resin.",
    "glass": "Glass turns clear as it wets: the pattern pales, so look along the light for relief.",
}

TRICKS: Mapping[str, tuple[str, str]] = {
    "blur": (
        "Look at an edge: tape, a line, the brim. If that is soft too, the photo is.",
        "Tap the part to focus, hold still, and take it again.",
    ),
    "glare": (
        "A bright sheen without a sharp border lies over everything, weave or not.",
        "Step to the side, or turn the part, until the lamp is not mirrored.",
    ),
    "distance": (
        "Count pixels, not looks: a tow must be wider than a pen's line on the screen.",
        "Go closer, without digital zoom, until the part fills the picture.",
    ),
}
"""What to look for, and how to photograph."""

PRACTICE = "common practice, no published source"
CAUTIONS = (
    "Resin, peroxide and solvent vapour hurt: gloves, glasses, fresh air, no flames. Your data "
    "sheets come first.",
    "A socket that fails under load hurts people. The lesson trains the eye; it certifies nothing.",
)


def capital(name: str) -> str:
    """Return a name with a capital first and the rest as typed: basalt, UHMWPE, E-glass 3K."""
    return name[:1].upper() + name[1:]

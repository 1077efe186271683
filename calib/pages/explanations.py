"""One sentence, one equation and one source for every number that a page shows."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a number is. ``value`` is its text on this page, empty where the page shows many."""

    name: str
    sentence: str
    equation: str
    source: str
    value: str = ""

    def worth(self, value: str) -> Meaning:
        """The same meaning with this page's value."""
        return replace(self, value=value)


KING_GROVER = (
    "A. King, H. Grover, Temperature correction methods in calorimetry, "
    "J. Appl. Phys. 12 (1941) 557"
)
NEWTON_SOURCE = (
    "I. Newton, Phil. Trans. R. Soc. 22 (1701) 824, as the linear law used since; "
    f"{KING_GROVER}, on the corrections that rest on it"
)
GUM = "JCGM 100:2008, Guide to the expression of uncertainty in measurement"
JCGM101 = "JCGM 101:2008, propagation of distributions by a Monte Carlo method"

# equations stand in `fitting.corrections.METHODS`, beside the function that computes them
METHODS: dict[str, Meaning] = {
    "extreme": Meaning(
        "Extreme reading",
        "Takes the highest (or lowest) reading as it is; the heat lost until then stays lost.",
        "",
        "common practice, no source",
    ),
    "straight-line": Meaning(
        "Straight line traced back",
        "Lays straight lines through the fore and after periods and takes their distance at the "
        "moment of mixing; right only where the heat comes at once and the after period is "
        "straight.",
        "",
        "common practice, no source",
    ),
    "equal-areas": Meaning(
        "Equal areas",
        "Lays straight lines through the fore and after periods and takes their distance at the "
        "time b at which the area between readings and fore line equals that between after line "
        "and readings: what was lost too early on one side balances the other. Where the heat "
        "comes as one quick exponential, b is when 63 % are out; taking six tenths of the rise "
        "for it is the old shortcut.",
        "",
        f"graphical methods reviewed by {KING_GROVER}; six tenths: H. C. Dickinson, U.S. Bureau of "
        "Standards Scientific Paper 230 (1914)",
    ),
    "exponential": Meaning(
        "Newton's cooling traced back",
        "Lays one exponential law through both periods and takes the distance of its two branches "
        "at the moment of mixing; right where the heat comes at once.",
        "",
        NEWTON_SOURCE,
    ),
    "regnault-pfaundler": Meaning(
        "Regnault–Pfaundler",
        "Lets the drift change linearly with temperature between its values in the two periods "
        "and sums it over the main period; k comes from the two straight drifts alone, not from "
        "the bend of the after period as in the integral.",
        "",
        "Regnault and Pfaundler's formula as in Babcock & Wilcox, Steam (1919), pp. 186–188, "
        "eq. 19",
    ),
    "integral": Meaning(
        "Integral of Newton's law",
        "Puts back, moment by moment over the main period, the heat that left by Newton's law, "
        "with k and T∞ of one exponential through both periods. It can be done again by hand from "
        "the numbers printed beside it.",
        "",
        f"{NEWTON_SOURCE}",
    ),
    "newton-integral": Meaning(
        "Average over models",
        "Corrects the curve by many models at once: Newton's integral with and without a slow "
        "wall, heat that is still coming, vapour and a room that drifts. Each model's rise counts "
        "by how well it predicts the readings, with what is known of cups beforehand.",
        "",
        "C. M. Bishop, Pattern Recognition and Machine Learning (2006), 3.4; each ΔTᵢ by Newton's "
        "law as in the integral",
    ),
}

NUMBERS: dict[str, Meaning] = {
    "rise": Meaning(
        "Corrected rise",
        "The change that a perfectly insulated cup would have shown.",
        "ΔT = T_end − T_before",
        "heat balance of a cup that loses nothing; the method's own source stands below",
    ),
    "u_rise": Meaning(
        "Standard uncertainty of the rise",
        "One standard deviation, from the parts listed beside the result, added as squares. The "
        "average holds how far its models lie apart; every other method holds its distance from "
        "the average.",
        "u² = Σ uᵢ²",
        f"{GUM}, 5.1.2 and 4.3.7",
    ),
    "interval": Meaning(
        "95 % interval",
        "The range that holds the true rise in 95 of 100 such curves.",
        "P(low < ΔT < high) = 0.95, 2.5 % on each side, for the average over models;  "
        "ΔT ± √((t₉₅ u_own)² + (1.96 (ΔT − ΔT_average))²) for every other method",
        f"{GUM}, 6.2 and G.3; {JCGM101}, 7.7",
    ),
    "before": Meaning(
        "Temperature before mixing",
        "The fore period's line at the moment of mixing, so that its drift is allowed for; ± holds "
        "noise, steps and drift of its readings.",
        "T_before = T_fore(t_m)",
        "least squares; JCGM 100:2008, H.3",
    ),
    "cooling": Meaning(
        "Cooling rate",
        "The share of its distance from the temperature it tends to that the cup loses in a "
        "minute, while that share is small.",
        "k = G/(C_content + C_cup),  1/min = 60 × 1/s",
        NEWTON_SOURCE,
    ),
    "t_inf": Meaning(
        "Temperature the cup tends to",
        "Room temperature plus what the stirrer's power keeps above it, less what vapour takes; ± "
        "holds what both drifts leave open, the room's own drift among it.",
        "T∞ = T_room + P/G",
        "energy balance of a stirred cup at rest",
    ),
    "settled": Meaning(
        "Settled after",
        "Time from the mixing until the readings show 99 % of the change, what was lost being put "
        "back; ± holds their noise, the smoothing, the rise's own uncertainty and a slow wall's.",
        "T + k ∫ (T − T∞) dt = T_before + 0.99 ΔT",
        "definition; smoothed as the heat flow is",
    ),
    "rms": Meaning(
        "Residual rms",
        "Root mean square of what is left between readings and fitted lines; compare it with the "
        "step of the reading. It describes the readings and has no ± of its own.",
        "rms = √(Σ rᵢ²/n)",
        "definition",
    ),
    "lag1": Meaning(
        "Lag-1 autocorrelation",
        "How far one residual resembles the next: 0 for independent readings; near 1 the readings "
        "tell much less than their number suggests. It describes them and has no ± of its own.",
        "ρ = Σ rᵢ rᵢ₊₁/Σ rᵢ²",
        "G. E. P. Box, G. M. Jenkins, Time Series Analysis (1970), from memory",
    ),
    "release_time": Meaning(
        "Release time constant",
        "Time from the mixing until 63.2 % of the heat is out; 1/κ for a first-order release.",
        "F(t) = 1 − 1/e",
        "definition",
    ),
    "heat": Meaning(
        "Heat released",
        "From the corrected rise, the starting temperatures of both portions and all heat "
        "capacities, the cup's included; positive when heat is set free.",
        "Q = (C_mix + C_app)(T_f − T_r) − (C_1 + C_app)(T_1 − T_r) − C_2 (T_2 − T_r)",
        "first law at constant pressure",
    ),
    "extent": Meaning(
        "Extent of reaction",
        "Moles of the equation as written that took place, set by the reactant that runs out "
        "first.",
        "ξ = min(nᵢ/νᵢ)",
        "IUPAC Green Book, extent of reaction",
    ),
    "dH": Meaning(
        "Molar enthalpy ΔH",
        "Heat taken up per mole of the equation as written; negative when heat is set free.",
        "ΔH = −Q/ξ",
        "definition at constant pressure",
    ),
    "u_dH": Meaning(
        "Its standard uncertainty",
        "All inputs' uncertainties carried through the heat balance; the budget shows each one's "
        "share.",
        "u²(ΔH) = Σ (∂ΔH/∂xᵢ)² u²(xᵢ) + correlations",
        f"{GUM}, 5.2.2",
    ),
    "mean": Meaning(
        "Mean of the class",
        "Mean over the groups; parts that groups share (stock, cup, sensor) do not shrink with "
        "their number and are kept apart.",
        "u²(mean) = u²_shared + u²_own/n",
        f"{GUM}, 5.2",
    ),
    "reference": Meaning(
        "Reference value",
        "Enthalpy from tables by Hess's law, at infinite dilution and, where known, at the run's "
        "own concentration.",
        "ΔH° = Σ ν ΔfH°",
        "one consistent set of tables, named for each reaction by the command reference",
    ),
    "constant": Meaning(
        "Constant of the apparatus",
        "Heat taken up by the cup, lid, sensor and stirrer per kelvin, apart from the liquid; for "
        "a mixing run the heat balance is solved for it.",
        "(C_1 + C_app)(T_f − T_1) + C_2 (T_f − T_2) = 0",
        "first law at constant pressure; water by IAPWS-95",
    ),
    "between": Meaning(
        "Standard deviation between runs",
        "How far single runs scatter beyond what their own uncertainties explain.",
        "Σ (xᵢ − x̄)²/(uᵢ² + s²) = n − 1",
        "R. C. Paule, J. Mandel, J. Res. NBS 87 (1982) 377, from memory",
    ),
    "loss": Meaning(
        "Heat-loss conductance",
        "Watts that leave the cup for each kelvin above its final temperature; it belongs to the "
        "cup and travels between fills.",
        "G = k (C_content + C_app)",
        NEWTON_SOURCE,
    ),
    "share": Meaning(
        "Share",
        "An input's part of the squared uncertainty, in per cent.",
        "100 (cᵢ uᵢ)²/u²",
        f"{GUM}, 5.1.3 and H.1.4",
    ),
}


def method_meaning(name: str, title: str = "", source: str = "") -> Meaning:
    """What a correction method does; one that is not known here keeps its own title and source."""
    known = METHODS.get(name)
    if known is not None:
        return known
    return Meaning(
        title or name, "A correction added to this program.", "", source or "its own module"
    )

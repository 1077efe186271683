"""What stands on a curve's page beyond its rise: release, cooling laws, stability, parts of u."""

from __future__ import annotations

from calib.pages.explanations import GUM, NEWTON_SOURCE, Meaning

_TIAN = "A. Tian, Bull. Soc. Chim. Fr. 33 (1923) 427 (from memory)"

NUMBERS: dict[str, Meaning] = {
    "final": Meaning(
        "Temperature without loss",
        "Where a perfectly insulated cup would have ended.",
        "T_end = T_before + ΔT",
        "definition of the corrected rise",
    ),
    "extreme": Meaning(
        "Extreme reading",
        "The highest or lowest reading after the mixing, farthest from the start, and when it was "
        "read; by then some heat had already been exchanged with the room. ± is noise and step of "
        "one reading.",
        "T_extreme = T(t_m + s), |T − T_before| largest",
        "the readings themselves",
    ),
    "mixed_at": Meaning(
        "Moment of mixing",
        "Where on the curve's clock the second portion came in; all times count from it.",
        "t_m",
        "noted at the bench, or found as the start of the first change beyond the noise",
    ),
    "share": Meaning(
        "Share of u²",
        "A source's part of the squared uncertainty, in per cent; the parts add up to 100.",
        "100 uᵢ²/u²",
        f"{GUM}, 5.1.2",
    ),
    "without_loss": Meaning(
        "Loss-corrected temperature",
        "What the content would have shown at each moment had nothing been lost until then.",
        "T + k ∫ (T − T∞) dt",
        NEWTON_SOURCE,
    ),
    "flow": Meaning(
        "Heat flow",
        "Heat released per second: what warms the content and what leaves it; per J/K of content "
        "and cup where their heat capacity C is not given. It is the smoothest flow that explains "
        "the readings, and generalised cross-validation decides how smooth.",
        "q = C dT/dt + G (T − T∞),  min Σ (y − A q)²/σ² + λ Σ (Δ² q)²",
        f"{_TIAN}; P. H. C. Eilers, Anal. Chem. 75 (2003) 3631; P. Craven, G. Wahba, Numer. Math. "
        "31 (1979) 377; both from memory",
    ),
    "fraction": Meaning(
        "Share of the heat released",
        "Heat released until a moment over all heat.",
        "F(t) = ∫ q dt/(C ΔT)",
        "definition; integral of Tian's equation",
    ),
    "total_heat": Meaning(
        "Heat released",
        "Heat capacity of content and cup times the corrected rise, for portions that start at one "
        "temperature; where no heat capacity is given, in joules for each J/K.",
        "Q = C ΔT",
        "first law at constant pressure",
    ),
    "over": Meaning(
        "When it was over",
        "Time from the mixing until 99 % of the heat is out. Pouring, stirring and the sensor take "
        "seconds themselves; an interval from 0 means that the release cannot be told from them.",
        "F(t) = 0.99",
        "definition; interval over every lag of the sensor that is possible",
    ),
    "lag": Meaning(
        "Sensor lag taken off",
        "The sensor follows the content with a time constant τ. Where nobody knows τ, it is read "
        "off the first minute after two liquids were put together; where a solid came in, any "
        "value from 0 to the quickest change seen (20 s at most) is allowed for.",
        "T = T_s + τ dT_s/dt",
        f"first-order sensor; common practice, no source; even spread: {GUM}, 4.3.7",
    ),
    "misfit": Meaning(
        "Scatter over what the noise explains",
        "Root mean square of the readings about the smooth flow, in units of their noise: about 1 "
        "where the flow explains them.",
        "√(χ²/(n − p))",
        "definition",
    ),
    "aicc": Meaning(
        "ΔAICc",
        "How much worse a law is than the best one, each further parameter being charged for; 0 is "
        "best, below 2 is as good, above 10 is out. Residuals are freed of their memory first.",
        "AICc = n ln(RSS/n) + 2 p + 2 p (p + 1)/(n − p − 1)",
        "N. Sugiura, Commun. Stat. A7 (1978) 13; K. P. Burnham, D. R. Anderson, Model Selection "
        "and Multimodel Inference (2002), 2.6; both from memory",
    ),
    "forecast": Meaning(
        "Forecast rms",
        "The law is fitted without the end of the curve, then held against it; the root mean "
        "square of the difference.",
        "rms = √(Σ (Tᵢ − T_law(tᵢ))²/m)",
        "held-back data; common practice, no source",
    ),
    "law_rate": Meaning(
        "Cooling rate of a law",
        "Loss over temperature difference in the middle of the stretch, so that laws with and "
        "without further parameters can be set side by side.",
        "k = −(dT/dt)/(T − T∞)",
        NEWTON_SOURCE,
    ),
    "stability": Meaning(
        "Stability",
        "One choice is changed at a time, all else kept, and the rise computed anew; a result "
        "stands where it moves less than its uncertainty says.",
        "ΔT(choice) − ΔT",
        "sensitivity by numerical change of an input; JCGM 100:2008, 5.1.4",
    ),
}

PARTS: dict[str, str] = {
    "noise of the reading": "scatter of the readings, with its memory from one to the next",
    "steps of the reading": "the display shows whole steps only",
    "reading": "noise and step of the one reading that is used",
    "temperature before": "the fore period's line at the moment of mixing",
    "fore line": "slope and height of the line through the fore period",
    "after line": "slope and height of the line through the after period",
    "curvature of the after period": "the after period bends, a straight line does not",
    "time of equal areas": "readings and lines shift the time at which the areas balance",
    "readings of the main period": "scatter of the readings that the integral runs over",
    "what the averaged models say otherwise": "distance from the average over models, which sees "
    "the same readings",
    "loss and release that look alike": "a cup that loses its heat as fast as it is released",
    "moment of mixing": "the moment's own uncertainty times the drift at it",
    "cooling rate": "k, from both periods and what is known of such cups",
    "stirring and room": "where the cup settles, if neither period shows it",
    "loss that grows faster than linearly": "vapour and convection: a hot cup loses more than in "
    "proportion",
    "air that moves in the room": "draughts and swings of the room's air that no drift describes",
    "drifting room": "the room may have warmed or cooled during the log",
    "fore drift": "the fore period may drift otherwise than the law says",
    "sensor, pouring and release": "pouring, the sensor's lag and the release itself, until they "
    "are over",
    "heat still released": "a slow end of the release that drift may hide",
    "heat released late": "heat that came while the law counted it as already there",
    "loss left uncorrected": "what was lost until the extreme reading",
    "slow wall's overshoot": "a wall that warms up slowly leaves the content too far ahead",
    "loss through a slow wall": "what such a wall passes on to the room unseen",
    "which model holds": "how far the models that the curve allows lie apart",
    "fit of both periods": "scatter about the one cooling law fitted to both periods",
}

LAWS: dict[str, Meaning] = {
    "newton": Meaning(
        "Newton's law",
        "The loss is proportional to the distance from the temperature that the cup tends to.",
        "dT/dt = −k (T − T∞)",
        NEWTON_SOURCE,
    ),
    "slow-wall": Meaning(
        "Newton's law with a slow inner wall",
        "A wall takes up heat with a time constant of its own, then both cool together; the liquid "
        "first stands too far from where it started.",
        "T = T∞ + a exp(−k t) + b exp(−t/τ),  b ΔT > 0",
        "two bodies that exchange heat linearly: eigenvalues of a 2 × 2 system",
    ),
    "steeper": Meaning(
        "Loss that grows faster than linearly",
        "Convection and evaporation carry off more than their share from a hot cup.",
        "dT/dt = −k (T − T∞) |(T − T∞)/θ_r|ⁿ⁻¹,  n ≥ 1",
        "P. L. Dulong, A. T. Petit, Ann. Chim. Phys. 7 (1817) 225; n = 5/4 for free convection: "
        "L. Lorenz, Ann. Phys. 249 (1881) 582; both from memory",
    ),
    "drifting-room": Meaning(
        "Newton's law in a drifting room",
        "The temperature that the cup tends to moves evenly with the room's.",
        "dT/dt = −k (T − T∞ − c t)",
        NEWTON_SOURCE,
    ),
}


LATE_HEAT = Meaning(
    "Newton's law with heat still being released",
    "The same fading term as a wall's, with the other sign: the liquid has not yet come as far as "
    "it will, since heat is still coming with a time constant τ.",
    "T = T∞ + a exp(−k t) + b exp(−t/τ),  b ΔT < 0",
    "two first-order steps in a row, release and loss",
)


def law_meaning(name: str, title: str, equation: str) -> Meaning:
    """What a cooling law says; one not known here keeps its own title and equation."""
    known = LAWS.get(name)
    if known is not None:
        return known
    return Meaning(title or name, "A cooling law added to this program.", equation, "its module")

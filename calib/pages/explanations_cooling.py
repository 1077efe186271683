"""What stands on the page of a cooling log: one sentence, one equation and one source a number."""

from __future__ import annotations

from calib.pages.explanations import GUM, NEWTON_SOURCE, NUMBERS, Meaning

_AVERAGE = (
    "J. A. Hoeting et al., Stat. Sci. 14 (1999) 382; L. Tierney, J. B. Kadane, J. Am. Stat. Assoc. "
    "81 (1986) 82; both from memory"
)

COOLING: dict[str, Meaning] = {
    "rate": Meaning(
        "Cooling rate",
        "Loss over temperature difference, at the mean temperature of the log, over the heat "
        "capacity of content and cup; averaged over all mixtures of laws unless one was forced.",
        "k = −(dT/dt)/(T − T∞),  k = Σ w_i k_i",
        f"{NEWTON_SOURCE}; {_AVERAGE}",
    ),
    "rate_interval": Meaning(
        "95 % interval",
        "The range that holds the true value in 95 of 100 such logs; 2.5 % of the weighed "
        "probability lies below it and 2.5 % above, so that its sides may differ.",
        "P(low < k < high) = 0.95",
        f"{GUM}, 6.2; checked on simulated logs that obey none of the laws",
    ),
    "settles": Meaning(
        "Temperature the cup tends to",
        "Where nothing would be lost on the whole, at the start of the log: the room with what the "
        "stirrer's power keeps above it and vapour below.",
        "T∞ = T_room + (P − L E)/G",
        "energy balance of a stirred cup at rest",
    ),
    "loss": Meaning(
        "Heat loss",
        "Watts that leave the cup for each kelvin above the temperature it tends to; it belongs to "
        "the cup and its lid and is the same at every fill, which k is not.",
        "G = k C,  (u_G/G)² = (u_k/k)² + (u_C/C)²",
        f"{NEWTON_SOURCE}; {GUM}, 5.1.6",
    ),
    "capacity": Meaning(
        "Heat capacity",
        "Of content and cup together, as given or from the water's mass and the registered "
        "constant of the cup.",
        "C = m c_p(T) + C_cup",
        "water: IAPWS-95; the cup: its calibration",
    ),
    "middle": Meaning(
        "Mean temperature of the log",
        "Where k and G hold; with a law that is not linear they are others elsewhere.",
        "T_mean = Σ T_i/n",
        "definition",
    ),
    "admissible": Meaning(
        "May be used",
        "A law may not be used where its AICc lies more than 10 above the least, where a parameter "
        "ran to the end of its range, or where it forecasts the held-back end much worse than "
        "Newton's law.",
        "ΔAICc ≤ 10,  rms_forecast ≤ 1.5 rms_Newton",
        "K. P. Burnham, D. R. Anderson, Model Selection and Multimodel Inference (2002), 2.6 (from "
        "memory); the factor 1.5 is our choice",
    ),
    "aicc": Meaning(
        "ΔAICc",
        "How much worse a law is than the best one, each further parameter being charged for. "
        "Residuals are freed of their memory first, and the scatter is one for all laws.",
        "AICc = χ² + 2 m + 2 m (m + 1)/(n − m − 1)",
        "N. Sugiura, Commun. Stat. A7 (1978) 13; C. M. Hurvich, C.-L. Tsai, Biometrika 76 (1989) "
        "297; both from memory",
    ),
    "forecast": Meaning(
        "Forecast rms",
        "The law is fitted without the last 30 % of the log, then held against them; the root mean "
        "square of the difference.",
        "rms = √(Σ (T_i − T_law(t_i))²/m)",
        "held-back data; common practice, no source",
    ),
    "rms": NUMBERS["rms"],
    "lag1": NUMBERS["lag1"],
    "chance": Meaning(
        "Chance of more than an everyday share",
        "How probable it is, all mixtures weighed, that a wall, vapour or convection, or a drift "
        "of the room is larger than every lidded cup in every room has it.",
        "P(large | readings)",
        f"{_AVERAGE}; what is everyday: common practice, no source",
    ),
    "share": Meaning(
        "Share of u²",
        "A source's part of the squared uncertainty, in per cent; the parts add up to 100.",
        "100 u_i²/u²",
        f"{GUM}, 5.1.2",
    ),
}

PARTS: dict[str, str] = {
    "readings and where the cup settles": "scatter of the readings and what is known of T∞",
    "a wall that is not level": "a wall still takes or gives heat while the log begins",
    "an unseen drift of the room": "a room that warms or cools bends the log as a loss does",
    "loss that is not quite linear": "vapour and convection grow faster than the difference",
    "which law holds": "how far the mixtures that the log allows lie apart",
    "the named law against the average": "the log asks for a law that the average doubts",
    "what no law describes": "air that moves, a lid that is not tight; a share of k",
    "fit, with a drift of the room that is not seen": "the forced law's own fit",
    "heat capacity": "as given",
    "fill": "grams of water in the cup",
    "cup's constant": "from its calibration in the registry",
}

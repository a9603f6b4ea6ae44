"""What people do off the machine: its cost, its tempo and what a watch sees of it.

MET values are the Compendium's (Ainsworth 2011, Herrmann 2024); tempo, loads and limits are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

MACHINE_KINDS = ("rower", "ski", "bike")


@dataclass(frozen=True)
class Movement:
    """One movement.

    met: gross cost from the table. seconds: for one repetition (or one metre) at a light load.
    loads_kg: usual loads for men; women's are two thirds. limit: the load that a person of average
    strength moves just once, as a share of body mass. strength: raises heart rate beyond oxygen.
    grip: the hand closes hard, which disturbs a watch. cadence: movements a minute that a wrist
    sees, None where it sees none.
    """

    name: str
    met: float
    seconds: float
    unit: Literal["reps", "metres"] = "reps"
    loads_kg: tuple[int, ...] = ()
    limit: float = 1.0
    height_cm: int | None = None
    strength: bool = False
    grip: bool = False
    cadence: float | None = None


MOVEMENTS: dict[str, Movement] = {
    movement.name: movement
    for movement in (
        Movement("kettlebell swing", 9.8, 1.7, loads_kg=(16, 20, 24), limit=0.6, strength=True,
                 grip=True, cadence=35),
        Movement("deadlift", 5.0, 2.6, loads_kg=(50, 60, 80), limit=1.5, strength=True, grip=True),
        Movement("goblet squat", 5.0, 2.2, loads_kg=(16, 20, 24), limit=0.7, strength=True,
                 grip=True),
        Movement("thruster", 6.0, 2.5, loads_kg=(20, 30, 40), limit=0.75, strength=True),
        Movement("shoulder press", 6.0, 2.3, loads_kg=(20, 25, 30), limit=0.6, strength=True),
        Movement("bent-over row", 5.0, 2.2, loads_kg=(25, 30, 40), limit=0.9, strength=True,
                 grip=True),
        Movement("box step-up", 9.0, 2.4, height_cm=40, cadence=50),
        Movement("burpee", 7.5, 3.6, cadence=None),
        Movement("push-up", 7.5, 1.6, strength=True),
        Movement("sit-up", 7.5, 2.0),
        Movement("air squat", 6.0, 1.7),
        Movement("walking lunge", 6.0, 1.9, strength=True),
        Movement("sandbag carry", 7.5, 0.75, "metres", loads_kg=(20, 30, 40), limit=0.9,
                 strength=True, grip=True, cadence=90),
        Movement("farmer carry", 7.5, 0.7, "metres", loads_kg=(32, 40, 48), limit=1.1,
                 strength=True, grip=True, cadence=95),
        Movement("shuttle run", 11.0, 0.38, "metres", cadence=80),
        Movement("rope jump", 11.8, 0.52, cadence=115),
        Movement("hip hinge", 2.3, 3.5),
        Movement("shoulder circles", 2.3, 2.5),
        Movement("plank", 6.0, 1.0),
    )
}  # fmt: skip

OPENERS = (
    "kettlebell swing", "deadlift", "goblet squat", "thruster", "shoulder press", "bent-over row",
    "box step-up", "burpee", "push-up", "sit-up", "air squat", "walking lunge", "sandbag carry",
    "farmer carry", "shuttle run", "rope jump",
)  # fmt: skip
LOOSENERS = ("hip hinge", "shoulder circles", "air squat", "plank")
COUNTED = ("rope jump", "burpee", "air squat", "sit-up", "box step-up", "push-up")

"""Makes data/validation/solubility.csv: ideal solubility computed by the `chemicals` Python library (PyPI).

Run once: `pip install chemicals==1.5.2 && python3 tests/validation/solubility_cases.py > data/validation/solubility.csv`.
The first row is the worked example of that library (after Gmehling 2012); the others are drawn with a fixed seed over the
range of waxes and fats.
"""

import random

from chemicals.solubility import solubility_eutectic

print("temperature_k,melt_k,heat_j_mol,gamma,mole_fraction,source,status")


def row(t, tm, heat, gamma, source):
    x = solubility_eutectic(T=t, Tm=tm, Hm=heat, Cpl=0.0, Cps=0.0, gamma=gamma)
    print(f"{t!r},{tm!r},{heat!r},{gamma!r},{x!r},{source},read")


row(260.0, 278.68, 9952.0, 3.0176, "worked example of the chemicals library after Gmehling 2012")
draw = random.Random(20)
for _ in range(60):
    tm = round(draw.uniform(270.0, 365.0), 2)
    row(
        round(tm - draw.uniform(0.0, 60.0), 2),
        tm,
        round(draw.uniform(20e3, 230e3), 1),
        round(draw.uniform(1.0, 4.0), 4),
        "chemicals 1.5.2",
    )

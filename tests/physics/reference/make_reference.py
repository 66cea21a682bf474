#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Reference tables for tests/physics, written beside this script.

Needs the Python package iapws (Debian python3-iapws); the tests read the tables only.
saturation.csv: IAPWS-95 (Wagner & Pruss, J Phys Chem Ref Data 2002;31:387), saturated liquid and vapour.
dry_air.csv: Lemmon et al., J Phys Chem Ref Data 2000;29:331 (density) and Lemmon & Jacobsen,
Int J Thermophys 2004;25:21 (transport), at 101.325 kPa.
"""
from pathlib import Path

import iapws
from iapws.humidAir import Air

here = Path(__file__).parent


def write(name, header, rows):
    with open(here / name, "w") as out:
        out.write(f"# make_reference.py with iapws {iapws.__version__}\n{header}\n")
        for row in rows:
            out.write(",".join(f"{x:.8g}" for x in row) + "\n")


def saturation(t):
    liquid, vapour = (iapws.IAPWS95(T=t + 273.15, x=x) for x in (0, 1))
    return t, 1000 * liquid.P, vapour.h - liquid.h


def air(t):
    a = Air(T=t + 273.15, P=0.101325)
    return t, a.rho, a.mu / a.rho, a.k / (1000 * a.rho * a.cp), a.k


write("saturation.csv", "temperature_degC,saturation_pressure_kPa,latent_heat_J_per_g",
      map(saturation, range(1, 81)))
write("dry_air.csv",
      "temperature_degC,density_kg_per_m3,kinematic_viscosity_m2_per_s,"
      "thermal_diffusivity_m2_per_s,conductivity_W_per_m_per_K",
      map(air, range(0, 81, 5)))

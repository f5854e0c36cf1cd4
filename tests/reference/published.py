"""Published and computed values that the physics is checked against, each with its source.

Grades: V read in the text of the source itself; C computed with the named library; M from memory, to be checked
before it carries a legal or safety claim; P common practice, no source.
"""

from __future__ import annotations

# CoolProp 8.0.0 (grade C); R-134a agrees with the VDI Heat Atlas table (through thermo 0.6.1) within 0.04 % and with
# the values recalled from the ASHRAE handbook at 0, 20, 40 and 60 °C (grade M) to the last digit.
# temperature °C: (pressure kPa, liquid density, saturated vapour density kg/m³)
SATURATION = {
    "R-134a": {
        -30: (84.38, 1388.4, 4.43),
        0: (292.80, 1294.8, 14.43),
        20: (571.71, 1225.3, 27.78),
        25: (665.38, 1206.7, 32.35),
        40: (1016.59, 1146.7, 50.09),
        60: (1681.78, 1052.9, 87.38),
        70: (2116.83, 996.2, 115.57),
    },
    "R-1234yf": {
        -30: (98.93, 1264.7, 5.84),
        0: (315.88, 1176.1, 17.63),
        25: (682.70, 1091.7, 37.89),
        40: (1018.47, 1033.6, 57.67),
        70: (2044.45, 882.5, 132.04),
    },
    "R-12": {
        -30: (100.26, 1487.7, 6.23),
        0: (308.15, 1396.1, 17.87),
        25: (650.57, 1311.0, 36.83),
        40: (958.82, 1254.3, 54.42),
        70: (1880.23, 1118.3, 113.27),
    },
    "R-152a": {
        -30: (77.18, 1023.5, 2.61),
        0: (263.99, 959.1, 8.36),
        25: (596.41, 899.5, 18.47),
        40: (909.27, 859.7, 28.28),
        70: (1886.42, 764.6, 62.57),
    },
    "R-744": {
        -30: (1427.76, 1075.7, 37.10),
        0: (3485.14, 927.4, 97.65),
        20: (5729.05, 773.4, 194.20),
        25: (6434.24, 710.5, 242.73),
    },
}

# Older ASHRAE and textbook values for R-12 (grade M): kPa; newer equations of state lie 0.2 to 0.3 % lower.
OLD_R12_KPA = {0: 308.6, 20: 567.3, 40: 960.7, 60: 1525.9}

# IAPWS-IF97 (iapws 1.5.5) for liquid water, IAPWS R14-08 for ice (grade C): °C: Pa
WATER_PA = {
    0.01: 611.66,
    5: 872.57,
    10: 1228.2,
    15: 1705.7,
    20: 2339.2,
    25: 3169.7,
    30: 4246.7,
    40: 7384.4,
    -5: 401.74,
    -10: 259.87,
    -20: 103.24,
    -30: 38.01,
    -40: 12.84,
}

# Vacuum in inHg that boils water, US Army TM 5-3805-292-23 and TB 9-2320-302-13&P-3 (grade V, secondary): °F: inHg
BOILING_INHG = {100: 28.0, 90: 28.5, 81: 28.8, 70: 29.2}

# ISO 2533 standard atmosphere (grade C, fluids 1.3.1): altitude m: kPa
ATMOSPHERE_KPA = {0: 101.325, 305: 97.71, 500: 95.46, 1000: 89.88, 1609: 83.44, 2000: 79.50}

# g of refrigerant a year for a throughput of 1 Pa·m³/s at 25 °C, year of 365.25 d (grade C)
G_PER_YEAR = {"R-134a": 1.299e6, "R-1234yf": 1.452e6, "R-12": 1.539e6, "R-152a": 8.41e5, "R-744": 5.60e5}

# Throughput out of the charged system per throughput of air into the vacuum at sea level (grade C):
# (fluid, absolute kPa inside): (molecular, viscous)
FLOW_RATIOS = {
    ("R-134a", 350): (1.3, 17),
    ("R-134a", 665): (3.0, 66),
    ("R-134a", 1017): (4.8, 156),
    ("R-134a", 1500): (7.4, 341),
}

# Rise in micron in 10 min of 2 l by a leak in g/year of R-134a from a parked vehicle at 25 °C (grade C): viscous,
# molecular
HOLD_SEES = {40: (1.1, 23), 100: (2.6, 58), 500: (13, 292), 1000: (26, 584)}

# SAE J2211 Table 1, limits of non-condensable gas in R-134a (grade M, recalled): °F: psig
J2211_PSIG = {70: 76, 80: 91, 90: 109, 100: 129, 110: 151, 120: 176}

# 6 ft of 1/4 in. hose, 57.9 ml (grade C): g of liquid at 25 °C, of vapour at 350 kPa
HOSE_6FT_G = {"R-134a": (69.9, 0.90), "R-1234yf": (63.2, None)}

# 40 CFR 82 Subpart B App. C (SAE J2788) 9.1: 98 % free of air; as residual pressure, micron (grade V, our reading of
# it)
AIR_FREE_MICRON = 15_200

# Common practice, no source
FULL_VACUUM_INHG = 30.0
COLD_VENT_F = (40.0, 45.0)

"""Every figure that is not a formula, each in one place.

The key in brackets after a value names its source in REFERENCES.md; a test matches the two.
"""

# Units and music
MM_PER_INCH = 25.4  # [inch]
MM_PER_M = 1000.0  # [si]
A4_HZ = 440.0  # [iso-16]
FRETS_PER_OCTAVE = 12  # [equal-temperament]

# What is accepted as an argument. Generous: it stops a caller's mistake, not an odd guitar.
MAX_FRET = 36  # [planning-default]
JOINT_FRET_RANGE = (5, 24)  # [planning-default]
TILT_LIMIT_DEG = 20.0  # [planning-default]
HUMIDITY_RANGE_PCT = (0.0, 100.0)  # [si]
TEMPERATURE_RANGE_C = (-20.0, 132.2)  # [wood-handbook]
READING_LIMIT_MM = 50.0  # [planning-default]
BOLT_ARM_RANGE_MM = (10.0, 300.0)  # [planning-default]
THREAD_PITCH_RANGE_MM = (0.2, 5.0)  # [planning-default]
HEEL_DEPTH_RANGE_MM = (30.0, 300.0)  # [planning-default]
SHIM_RANGE_MM = (0.0, 10.0)  # [planning-default]
TURN_STEP_RANGE = (1 / 16, 1.0)  # [planning-default]
RISE_GAIN_RANGE = (0.5, 2.0)  # [planning-default]

# Neck
ACTION_FRET = 12  # [common-practice]
HALF_SPREAD_NUT_MM = 18.5  # [planning-default]
HALF_SPREAD_SADDLE_MM = 27.0  # [planning-default]
SADDLE_PER_ACTION_12 = 2.0  # [string-height-article]
ROD_ACTION_12_PER_RELIEF = 1.5  # [derived]
SAG_AT_12_PER_RELIEF = 0.39  # [derived]

# Equilibrium moisture content: c0 + c1 T + c2 T^2 with T in °C
EMC_W = (349.0, 1.29, 0.0135)  # [wood-handbook]
EMC_K = (0.805, 0.000736, -0.00000273)  # [wood-handbook]
EMC_K1 = (6.27, -0.00938, -0.000303)  # [wood-handbook]
EMC_K2 = (1.91, 0.0407, -0.000293)  # [wood-handbook]

# Gauges: standard deviation of one reading
ACTION_1_SD_MM = 0.03  # [from-memory]
ACTION_12_SD_MM = 0.10  # [from-memory]
SADDLE_SD_MM = 0.10  # [from-memory]
RISE_SD_MM = 0.20  # [from-memory]
RELIEF_SD_MM = 0.03  # [from-memory]
ASSUMED_ACTION_1_SD_MM = 0.15  # [planning-default]

# Readings that contradict each other, or the past, beyond this many standard uncertainties
CONTRADICTION_U = 3.0  # [planning-default]
SURPRISE_U = 3.0  # [planning-default]
# A recognised slip, put right, must bring them this close
SETTLED_U = 2.0  # [planning-default]

# What a reading can be at all; outside it, one reading cannot be the explanation
POSSIBLE_ACTION_1_MM = (0.0, 3.0)  # [planning-default]
POSSIBLE_ACTION_12_MM = (0.0, 12.0)  # [planning-default]
POSSIBLE_SADDLE_MM = (0.0, 12.0)  # [planning-default]
POSSIBLE_RISE_MM = (-12.0, 12.0)  # [planning-default]
POSSIBLE_RELIEF_MM = (-0.5, 1.5)  # [planning-default]

# Targets, bass then treble
STEEL_ACTION_12_MM = (2.38, 1.59)  # [string-height-article]
STEEL_ACTION_1_MM = (0.58, 0.33)  # [common-practice]
RELIEF_WINDOW_MM = (0.10, 0.30)  # [common-practice]
ACTION_TOLERANCE_MM = 0.15  # [planning-default]
NUT_TOLERANCE_MM = 0.10  # [planning-default]

# Saddle
SADDLE_FLOOR_MM = 1.6  # [common-practice]
SADDLE_PREFERRED_MM = (2.0, 4.0)  # [planning-default]
SADDLE_TOLERATED_MM = (0.8, 4.8)  # [neck-resets-article]
SADDLE_AS_BUILT_MM = 3.2  # [neck-resets-article]

# Joint
PIVOT_DEPTH_MM = 12.0  # [planning-default]
HEEL_DEPTH_MM = 90.0  # [planning-default]
GAIN_PRIOR_SD = 0.10  # [planning-default]
RESET_TILT_MAX_DEG = 4.0  # [planning-default]

# What a hand can set
TURN_STEP = 0.125  # [common-practice]
SADDLE_STEP_MM = 0.05  # [planning-default]
WEDGE_STEP_MM = 0.05  # [planning-default]

# Entry of lengths and other quantities as text
LENGTH_LIMIT_MM = 2000.0  # [planning-default]
TEXT_LIMIT = 40  # [planning-default]
REPEATS_LIMIT = 20  # [planning-default]
REPEATS_TEXT_LIMIT = 300  # [planning-default]
SIXTY_FOURTHS = 64  # [inch]
TURNS_LIMIT = 50.0  # [planning-default]
ANGLE_LIMIT_DEG = 90.0  # [planning-default]
ROOM_TEMPERATURE_RANGE_C = (-20.0, 60.0)  # [planning-default]

# Lift over time: what is assumed of an instrument before its readings
RATE_YEARS = 30.0  # [planning-default]
LIFT_EXPONENTS = (0.2, 0.3, 0.45, 0.7, 1.0)  # [timber-creep]
LIFT_RATE_MM = 1.6  # [planning-default]
LIFT_LOG_RATE_SD = 0.8  # [planning-default]
LIFT_RATE_RANGE_MM = (0.08, 14.0)  # [planning-default]
LIFT_RATES = 31  # [planning-default]
ORIGIN_RISE_MM = (-2.0, 2.0)  # [planning-default]
MOISTURE_SLOPE_MM_PER_PCT = (0.20, 0.10)  # [planning-default]
MOISTURE_SWING_SD_PCT = 1.5  # [planning-default]
SEASON_SD_MM = 0.12  # [planning-default]
LIFT_NOISE_MM = 0.2  # [planning-default]
# What moves between visits, however often the gauge is read in one
VISIT_SD_MM = 0.15  # [planning-default]
LIFT_NOISE_SHAPE = 3.0  # [planning-default]

# Readings held to be wild: how many, how much wider they scatter, from what residual they are looked at
WILD_SHARE = 0.03  # [planning-default]
WILD_SPREAD = 10.0  # [planning-default]
WILD_FROM_U = 2.6  # [planning-default]
WILD_LEAST_READINGS = 4  # [planning-default]

# What a fleet may teach: imaginary instruments that hold a group to the shop and the shop to the above
HOLD_MEAN = 4.0  # [fleet-calibration]
HOLD_SPREAD = 100.0  # [fleet-calibration]
HOLD_NOISE = 8.0  # [fleet-calibration]
HOLD_COEFFICIENTS = 8.0  # [fleet-calibration]
EXPONENT_TRUST = 0.5  # [fleet-calibration]
SPREAD_WIDENING = 1.15  # [fleet-calibration]
SPREAD_RANGE = (0.3, 1.5)  # [planning-default]
NOISE_RANGE_MM = (0.05, 0.6)  # [planning-default]
COEFFICIENT_RANGE = (0.25, 2.5)  # [planning-default]
TELLING_READINGS = 4  # [planning-default]
SMALLEST_GROUP = 5  # [planning-default]

# Control charts of gauges and hands: limits in standard deviations, memory of the average
CHART_WIDTH_SD = 3.0  # [control-charts]
EWMA_WEIGHT = 0.3  # [control-charts]

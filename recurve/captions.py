"""The words on figures that do not change with the job: axes with their units, and names in the key.

An axis says its unit, and whether it is the distributor's or the crank's.
"""

from __future__ import annotations

# --- axes -------------------------------------------------------------------------------------------------

SPEED = "speed of the distributor [rpm]"
ADVANCE = "advance [distributor degrees]"
CRANK_SPEED = "crank [rpm]"
CRANK_ADVANCE = "advance [crank degrees]"
RESIDUAL = "residual"  # standardised, without a unit
ENGINE_SPEED = "speed of the engine [rpm, crank]"
TIMING = "timing before top dead centre [°, crank]"
ENERGY = "energy [mJ]"
PRIMARY_RATE = "rate of the primary [N/mm]"
SECONDARY_RATE = "rate of the secondary [N/mm]"
PULL_AT_REST = "pull at rest [N]"

# --- names in the key -------------------------------------------------------------------------------------

TARGET_BAND = "target band"
SHADED = "90 % band"
READ = "read"  # followed by the direction
SET_HERE = "set here"
IDLE = "idle"
CRUISE = "cruise vacuum"
CHOSEN = "chosen"
COMPARED = "pairs compared"
CATALOGUE = "catalogue"

# --- titles -----------------------------------------------------------------------------------------------

COIL = "coil charge when the points open"
WINDOW = "which springs to order"

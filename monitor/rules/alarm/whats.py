"""What can be told: one name for each condition of an alarm or a notice. Names stand in the log and on MQTT: they stay.

The room and what lies or hangs in it belong to a job and a place, a sensor's condition to the sensor alone, whatever
walls it serves, and the rest to the house.
"""

from __future__ import annotations

from monitor.basis.values import Quantity
from monitor.rules.assessment import Side

HUMIDITY_LOW = "humidity low"
HUMIDITY_HIGH = "humidity high"
TEMPERATURE_LOW = "temperature low"
TEMPERATURE_HIGH = "temperature high"
HUMIDITY_HEADING_LOW = "humidity heading low"
HUMIDITY_HEADING_HIGH = "humidity heading high"
TEMPERATURE_HEADING_LOW = "temperature heading low"
TEMPERATURE_HEADING_HIGH = "temperature heading high"
RAPID = "rapid change"
FROST = "pipes may freeze"
SUDDEN_DAMP = "sudden damp"
SURFACE_DAMP = "surface damp"
SURFACE_WET = "surface wet"
MOULD = "mould"
BOXES_COLD = "boxes below dew point"

COMPLETE = "acclimation complete"
RESTARTED = "acclimation restarted"
LAPSED = "acclimation lapsed"
READY = "ready"
NO_LONGER_READY = "no longer ready"
CARE_DUE = "care due"
INSPECTION_DUE = "inspection due"
UNJUDGED = "wall not judged"

SILENT = "sensor silent"
FLAT = "sensor flat"
DRIFTING = "sensor drifting"
DISAGREEING = "sensors disagree"
BATTERY_LOW = "battery low"
CHECK_DUE = "instrument check due"

LINK_DOWN = "broker out of reach"
SEAL_FAILED = "sealing failed"
BACKUP_FAILED = "backup failed"
STORE_FILLING = "store filling up"
WORK_FAILED = "scheduled work failed"
AWAY = "daemon was away"

OUT: dict[tuple[Quantity, Side], str] = {
    (Quantity.AIR_HUMIDITY, "low"): HUMIDITY_LOW,
    (Quantity.AIR_HUMIDITY, "high"): HUMIDITY_HIGH,
    (Quantity.AIR_TEMPERATURE, "low"): TEMPERATURE_LOW,
    (Quantity.AIR_TEMPERATURE, "high"): TEMPERATURE_HIGH,
}
HEADING: dict[tuple[Quantity, Side], str] = {
    (Quantity.AIR_HUMIDITY, "low"): HUMIDITY_HEADING_LOW,
    (Quantity.AIR_HUMIDITY, "high"): HUMIDITY_HEADING_HIGH,
    (Quantity.AIR_TEMPERATURE, "low"): TEMPERATURE_HEADING_LOW,
    (Quantity.AIR_TEMPERATURE, "high"): TEMPERATURE_HEADING_HIGH,
}
# These are seen at the instant of a look and have no delay of their own, so that they would come and go with any noise.
FLAPS = frozenset((*HEADING.values(), RAPID, BOXES_COLD, NO_LONGER_READY, DISAGREEING, BATTERY_LOW, STORE_FILLING))
# That these have gone is no news: a forecast came true or did not, a change is over.
GOES_UNTOLD = frozenset((*HEADING.values(), RAPID))

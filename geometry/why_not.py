"""Why an option does not serve, a sentence each."""

from geometry.marking import gettext_noop

BELOW_FLOOR = gettext_noop("The saddle would go below its floor.")
ABOVE_CEILING = gettext_noop("The saddle would have to be taller than its ceiling.")
NOTHING_TO_SET = gettext_noop("There is no change to make that a hand can set.")
NO_BOLT_ON_RECORD = gettext_noop("The bolt's arm or its thread pitch is not on record.")
NO_TRAVEL_DOWN = gettext_noop("There is no travel left that lowers the strings.")
ONE_WAY = gettext_noop("The joint may only be turned to lower the strings, and they must come up.")
NO_TRAVEL_UP = gettext_noop("There is no travel left that raises the strings.")
APART_FOR_ANGLE = gettext_noop("Bass and treble are too far apart for the angle alone.")
LITTLE_TRAVEL = gettext_noop("There is not enough travel left for it.")
NO_SETTING_NEAR = gettext_noop("No setting of the joint comes close enough.")
TOO_SMALL = gettext_noop("The change is smaller than the joint can be set.")
COMMON_TOO_SMALL = gettext_noop(
    "The part common to bass and treble is smaller than the joint can be set."
)
ANGLE_ALONE = gettext_noop("The angle alone does it; the saddle needs no work.")
MORE_THAN_A_RESET = gettext_noop("It asks for more angle than a reset gives: measure again.")
ALREADY_RIGHT = gettext_noop("The neck's angle is already right for a new saddle.")
FORWARD_AT_THE_JOINT = gettext_noop(
    "The strings must come up, and the joint can be set forward for that."
)
APART_FOR_SADDLE = gettext_noop(
    "Bass and treble are too far apart for a saddle between floor and ceiling."
)

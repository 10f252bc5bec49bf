"""How each language writes days and figures; the rest is as Django has it."""

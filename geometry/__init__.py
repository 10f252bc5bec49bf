"""Numerics of a guitar's set-up: frets, strings, neck joint, moisture, lift over time, advice.

Pure functions over scalars or arrays that broadcast, so that one call serves one instrument or
a whole fleet. Lengths are in millimetres, angles in degrees, times in years, forces in newtons,
temperatures in °C, humidity in % RH. Nothing here knows of a database, a clock or a request.
"""

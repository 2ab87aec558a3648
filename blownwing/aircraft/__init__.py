"""The aircraft that the blown wing carries: field length, stall, climb, cruise, range, failures."""

"""Section data: tables with their corrections, camber lines, thin-airfoil theory."""

"""For each code of the contract, how the number on the sheet would have come about."""

"""What is acknowledged stays, whatever is killed: clients at work, kills, and the accounts afterwards."""

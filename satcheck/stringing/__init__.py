"""Where to string resin from and to, by the rules of the trade."""

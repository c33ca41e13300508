"""How much resin to mix, and where it went: pure arithmetic on weighings, no pixels and no disk."""

"""Before and after: what a shoe or insole changed, beyond noise, and what the shop learns."""

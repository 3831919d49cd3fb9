"""Who sits where: station, arrival, slots."""

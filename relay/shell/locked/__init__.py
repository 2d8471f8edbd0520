"""What leaves the ship, or lies on her disk, encrypted: keys, exports, backups, the secrets."""

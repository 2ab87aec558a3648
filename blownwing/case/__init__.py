"""What a user writes: frozen, validated inputs with units, the TOML reader and the air."""

"""How other systems speak to us and we to them: field maps, webhooks, open standards. No HTTP framework in here."""

"""The service report: frozen when issued, on paper, behind a link, by e-mail, corrected by revision."""

"""The sealed key opened, the look logged, the study audited."""

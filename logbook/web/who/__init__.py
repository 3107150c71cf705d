"""Who is who: signing in, signing out, and what each role may see."""

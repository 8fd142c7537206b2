# The fits of a wide flat table by base R alone, as a peer in speed: partial F and
# simultaneous comparisons of a measure, a count and a yes or no, each beside bins and
# light. No permutations, curves, checks or exact pairs: less than the command gives.
#   Rscript harvest_wide.R FILE         three outcomes
#   Rscript harvest_wide.R FILE rows    the measure alone, no comparisons
#   Rscript harvest_wide.R FILE pairs   the measure alone, all pairs of levels
#   Rscript harvest_wide.R FILE levels  the same without bins and light
a <- commandArgs(TRUE)
d <- read.csv(a[1], stringsAsFactors = TRUE)
part <- if (length(a) > 1) a[2] else ""
if (part == "levels") {
  invisible(TukeyHSD(aov(mass ~ g, d)))
  quit()
}
m <- aov(mass ~ bin + dli + g, d)
invisible(drop1(m, test = "F"))
if (part == "rows") quit()
invisible(TukeyHSD(aov(mass ~ bin + g, d), "g"))
if (part == "pairs") quit()
for (fit in list(glm(shoots ~ bin + dli + g, quasipoisson, d), glm(lost ~ bin + dli + g, binomial, d))) {
  invisible(drop1(fit, test = "Chisq"))
  invisible(summary(fit))
}

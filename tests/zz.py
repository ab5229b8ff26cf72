import cProfile,pstats
from tests.benchmarks.judge_growth import *
r=readings_of(300000); t=[load_limits(n) for n in TABLES]
judge(r,t,product=PRODUCT,on=DAY)
p=cProfile.Profile(); p.enable(); judge(r,t,product=PRODUCT,on=DAY); p.disable()
pstats.Stats(p).sort_stats('cumtime').print_stats(45)

package projection_test
import ("testing";"example.com/platewright/projection")
func BenchmarkAllowsMap(b *testing.B) {
	a := array(b, ferry(b)...)
	for _, s := range []projection.Shot{{1920,1080,35*deg},{1920,1080,60*deg},{2048,858,28*deg},{3840,2160,70*deg},{1280,720,20*deg}} {
		n,m := 0,0
		b.Run("", func(b *testing.B){ for range b.N { n,m=0,0; for h:=-180.0;h<180;h+=3 { for e:= -90.0;e<90;e+=3 { m++; if a.Allows(toward(h,e), s) {n++} } } } 
		b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*m),"us/dir"); b.ReportMetric(float64(n)/float64(m),"allowed")})
	}
}
func BenchmarkPushInFrame(b *testing.B) {
	a := array(b, ferry(b)...)
	for range b.N { a.PushInFrame(toward(15,20),1920,1080) }
}
